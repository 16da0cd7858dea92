/* fitwright.hpp with plug-ins. Takes a folder that has them, see tests/src/c/plugins.rs, and the worker program. */
#include "common.hpp"

using namespace fitwright;

static bool near_to(double a, double b, double within) { return std::fabs(a - b) <= within; }

template <class F> static fitw_status status_of(F f) {
    try {
        f();
    } catch (const Error &e) {
        return e.status();
    }
    return FITW_OK;
}

/* The wall of the made-up machine's hole: radius 8 about z, 11.5 mm long, the first 24 rings of its points. */
static Fit wall(const Context &context, const std::vector<double> &xyz, const FitOptions &options,
                const std::string &fitter) {
    return context.fit(fitter, Span<const double>(xyz.data(), 3 * 24 * 180), options);
}

int main(int argc, char **argv) {
    TRUE_(argc == 3);
    const std::string folder = argv[1];
    const Machine machine = make_machine();
    double diameters[2];
    for (int k = 0; k < 2; ++k) {
        Context context = Context::create();
        PluginOptions how;
        how.trust = k == 1;
        how.worker = argv[2];
        how.time_limit_s = 30.0;
        how.memory_limit_bytes = uint64_t(1) << 30;
        TRUE_(context.load_plugins(folder + "/plugins", how) == 2 && has("plug-in"));
        TRUE_(context.load_plugins(folder + "/open", how) == 0);
        const std::vector<fitw_plugin_info> plugins = context.plugins();
        TRUE_(plugins.size() == 2 && str(plugins[1].id) == "acme.studs" && plugins[1].trusted == k);
        const std::vector<fitw_refusal> refused = context.refused_plugins();
        TRUE_(refused.size() == 1 && str(refused[0].reason).find("others may write") != std::string::npos);
        const std::vector<fitw_fitter_info> fitters = context.fitters();
        std::size_t rows = 0;
        while (str(fitters[rows].id) != "test.rows") ++rows;
        const std::vector<fitw_option_info> options = context.fitter_options(rows);
        TRUE_(options.size() == 3 && str(options[1].name) == "loud" && options[1].sort == FITW_OPTION_SWITCH);
        TRUE_(context.fitter_options(0).empty());

        FitOptions with;
        with.options["longest"] = 12.0;
        Fit stud = wall(context, machine.points, with, "acme.stud");
        diameters[k] = stud.parameter("diameter").value[0];
        TRUE_(near_to(diameters[k], 2.0 * HOLE_RADIUS, 0.005) && near_to(stud.parameter("length").value[0], 11.5, 1e-3));
        TRUE_(near_to(stud.parameter_uncertainty(1), 2.0 * wall(context, machine.points, FitOptions(), "builtin.cylinder").uncertainty().size_1, 1e-4));
        with.options["longest"] = 11.0;
        TRUE_(status_of([&] { wall(context, machine.points, with, "acme.stud"); }) == FITW_E_UNDETERMINED);
        with.options["shortest"] = 1.0;
        TRUE_(status_of([&] { wall(context, machine.points, with, "acme.stud"); }) == FITW_E_ARGUMENT);

        FitOptions two;
        two.options["rows"] = 2.0;
        Scan scan = context.scan(Mesh(machine.points));
        Region region = scan.in_box(Point{{-9, -9, -20}}, Point{{9, 9, 1}});
        Fit ball = region.fit("test.rows", two);
        Feature feature = ball.feature("ball", region);
        const Table tables[] = {ball.table(1), feature.table(1)};
        for (const Table &t : tables) {
            TRUE_(t.columns.size() == 3 && t.rows() == 2 && t.values.size() == 6 && t.at(1, 1) == 10.0);
            TRUE_(t.columns[2].name == "turn" && t.columns[2].quantity == FITW_QUANTITY_ANGLE);
        }
        TRUE_(ball.note_count() == 1 && ball.note(0) == "a note of the plug-in");
        TRUE_(status_of([&] { ball.table(0); }) == FITW_E_ARGUMENT);
        TRUE_(status_of([&] { feature.parameter_uncertainty(1); }) == FITW_E_UNDETERMINED);
    }
    TRUE_(diameters[0] == diameters[1]);
    Context other = Context::create();
    TRUE_(status_of([&] { other.load_plugins(folder + "/open/stud"); }) == FITW_E_PLUGIN_REFUSED);
    TRUE_(status_of([&] { other.load_plugins(folder + "/none"); }) == FITW_E_IO);
    PluginOptions how;
    how.worker = argv[2];
    TRUE_(other.load_plugins(folder + "/importers", how) == 1 && other.importers().size() == 1);
    fitw_part_options by = sized<fitw_part_options>();
    by.reader = other.importers()[0].id;
    TRUE_(status_of([&] { other.read_part(folder + "/none.cube", by); }) == FITW_E_IO);
    std::puts("plugins: ok");
}
