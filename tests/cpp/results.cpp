/* fitwright.hpp without exceptions: every call returns a Result. */
#define FITWRIGHT_RESULTS
#include "common.hpp"

using namespace fitwright;

int main() {
    const Machine machine = make_machine();
    Result<Context> context = Context::create();
    TRUE_(context);
    Result<Scan> scan = context->scan(Mesh(machine.points, machine.triangles));
    TRUE_(scan.has_value());
    Result<Region> wall = scan->grow(Point{{7.9, 0.0, -3.0}}, FITW_KIND_CYLINDER);
    TRUE_(wall);
    Result<Fit> fit = wall->fit("builtin.cylinder");
    TRUE_(fit && std::fabs(fit->shape()->size_1 - HOLE_RADIUS) < 0.003);
    Result<Fit> none = wall->fit("builtin.egg");
    TRUE_(!none && none.error().status() == FITW_E_UNKNOWN_NAME);
    TRUE_(std::string(none.error().what()).find("builtin.egg") != std::string::npos);
    TRUE_(none.error().place().find("fitw_fit_region") == 0);
    Result<void> written = context->step_write("/no/such/folder/a.step", {});
    TRUE_(!written && written.error().status() != FITW_OK);
    Fit taken = *std::move(fit);
    TRUE_(taken.quality()->converged == 1);
    std::puts("results: ok");
}
