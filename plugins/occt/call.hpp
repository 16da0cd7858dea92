// The host as the rest of the plug-in sees it: it can be stopped, and is told how far the work is.
#pragma once

#include <Message_ProgressIndicator.hxx>
#include <fitwright_plugin.h>

#include <string>
#include <utility>

// Ends the call: a state, and the reason for it.
struct Refused {
    int32_t state;
    std::string reason;
};

inline fitw_plugin_text text(const std::string &s)
{
    return {reinterpret_cast<const uint8_t *>(s.data()), s.size()};
}

struct Call {
    const fitw_plugin_import_input *input;
    const fitw_plugin_call *call;
    const fitw_plugin_part *part;

    std::string path() const { return {reinterpret_cast<const char *>(input->path.data), input->path.length}; }
    bool cancelled() const { return call->cancelled(call) != 0; }
    void check() const
    {
        if (cancelled()) throw Refused{FITW_PLUGIN_E_CANCELLED, ""};
    }
    void note(const std::string &sentence) const { call->note(call, text(sentence)); }
    // What a function of `part` answered: the host takes no more when it is not FITW_PLUGIN_OK.
    static void taken(int32_t state)
    {
        if (state != FITW_PLUGIN_OK) throw Refused{state, "the host takes no more of the part"};
    }
};

// The kernel's progress as a share of the call's own.
class Progress : public Message_ProgressIndicator {
public:
    Progress(const Call &of, double begin, double end) : host(of), from(begin), to(end) {}

protected:
    Standard_Boolean UserBreak() override { return host.cancelled(); }
    void Show(const Message_ProgressScope &, const Standard_Boolean) override
    {
        host.call->progress(host.call, from + (to - from) * GetPosition());
    }

private:
    const Call &host;
    double from, to;
};
