// A plug-in that reads parts by the Open CASCADE kernel: importers occt.step and occt.iges.
//
// Build    `make` in this folder (Debian: apt-get install libocct-data-exchange-dev); it makes
//          libocct-exchange.so beside the manifest.
// Use      fitwright run job.toml --plugins plugins/occt, and in the job file
//          [part] reader = "occt.step"
// How      read.cpp makes a file a shape in mm, mesh.cpp meshes it (edges divided once, their points shared by
//          both faces, so that solids are closed), refine.cpp divides what misses the chord error, face.cpp tells
//          the exact surface of each face. Holes the host finds itself.
// Limits   The kernel keeps settings in its process: calls wait for each other. It can crash on what it cannot
//          digest, half of all damaged files among it: leave the plug-in in its worker. Reading the file itself
//          cannot be cancelled.
#include "call.hpp"
#include "mesh.hpp"
#include "read.hpp"

#include <Message.hxx>
#include <Message_Messenger.hxx>
#include <Message_PrinterOStream.hxx>
#include <Standard_Failure.hxx>

#include <chrono>
#include <exception>
#include <mutex>
#include <new>
#include <thread>

namespace {

std::mutex kernel;

// The kernel serves one call at a time.
std::unique_lock<std::mutex> turn(const Call &call)
{
    std::unique_lock<std::mutex> lock(kernel, std::defer_lock);
    while (!lock.try_lock()) {
        call.check();
        std::this_thread::sleep_for(std::chrono::milliseconds(10));
    }
    return lock;
}

void run(const Call &call, Format format)
{
    const auto lock = turn(call);
    // It prints what it reads.
    Message::DefaultMessenger()->RemovePrinters(STANDARD_TYPE(Message_PrinterOStream));
    call.check();
    const Contents found = read(call, format);
    Call::taken(call.part->schema(call.part, text(found.schema)));
    hand_over(call, found.shape);
}

int32_t fails(const Call &call, int32_t state, const std::string &reason)
{
    call.call->reason(call.call, text(reason));
    return state;
}

int32_t import(const void *data, const fitw_plugin_import_input *input, const fitw_plugin_call *host,
               const fitw_plugin_part *part)
{
    const Call call{input, host, part};
    try {
        run(call, *static_cast<const Format *>(data));
        return FITW_PLUGIN_OK;
    } catch (const Refused &refused) {
        return fails(call, refused.state, refused.reason);
    } catch (const Standard_Failure &failure) {
        const char *said = failure.GetMessageString();
        return fails(call, FITW_PLUGIN_E_INPUT,
                     std::string("what the kernel fails on (") + failure.DynamicType()->Name() + ": "
                         + (said ? said : "") + "); export the part anew, or as a mesh (STL, PLY or OBJ)");
    } catch (const std::bad_alloc &) {
        return fails(call, FITW_PLUGIN_E_LIMIT, "no memory for the part; allow a larger chord error");
    } catch (const std::exception &error) {
        return fails(call, FITW_PLUGIN_E_INTERNAL, error.what());
    } catch (...) {
        return fails(call, FITW_PLUGIN_E_INTERNAL, "an exception of an unknown kind");
    }
}

const Format step = Format::step, iges = Format::iges;
const fitw_plugin_text of_step[] = {FITW_PLUGIN_TEXT("step"), FITW_PLUGIN_TEXT("stp")};
const fitw_plugin_text of_iges[] = {FITW_PLUGIN_TEXT("iges"), FITW_PLUGIN_TEXT("igs")};
const fitw_plugin_importer by_step = {sizeof(fitw_plugin_importer), 0, FITW_PLUGIN_TEXT("occt.step"),
    FITW_PLUGIN_TEXT("STEP by the Open CASCADE kernel"), of_step, 2, &step, import};
const fitw_plugin_importer by_iges = {sizeof(fitw_plugin_importer), 0, FITW_PLUGIN_TEXT("occt.iges"),
    FITW_PLUGIN_TEXT("IGES by the Open CASCADE kernel"), of_iges, 2, &iges, import};
const fitw_plugin_importer *const importers[] = {&by_step, &by_iges};
const fitw_plugin_import offer = {sizeof(fitw_plugin_import), 0, importers, 2};

const void *ability(fitw_plugin_text id)
{
    const std::string name(reinterpret_cast<const char *>(id.data), id.length);
    return name == FITW_PLUGIN_IMPORT ? &offer : nullptr;
}

// Importers are known since 1.2.
constexpr uint32_t oldest = FITW_PLUGIN_OLDEST + 2;

} // namespace

int32_t fitw_plugin_entry(uint32_t lowest, uint32_t highest, const fitw_plugin_host *, fitw_plugin_table *table)
{
    if (lowest > FITW_PLUGIN_VERSION || highest < oldest) {
        table->version = FITW_PLUGIN_VERSION;
        return FITW_PLUGIN_E_VERSION;
    }
    table->version = highest < FITW_PLUGIN_VERSION ? highest : FITW_PLUGIN_VERSION;
    table->id = FITW_PLUGIN_TEXT("occt.exchange");
    table->fitters = nullptr;
    table->fitter_count = 0;
    table->ability = ability;
    return FITW_PLUGIN_OK;
}
