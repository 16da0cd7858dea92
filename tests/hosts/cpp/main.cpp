/*
 * A host in C++ with a CAD kernel of its own (OCCT), as a CAD add-in has: it takes the features of a scan over as
 * the kernel's shapes, in memory, and checks the part it has designed.
 *
 *   c++ -std=c++17 -isystem /usr/include/opencascade main.cpp -lfitwright -lTKSTEP … -o host
 *   ./host front.ply FOLDER x,y,z,i,j,k  DECK SIDE BOSS HOLE FILTER CONE
 *
 * x,y,z,i,j,k is where the part's hole and face are to be, machine coordinates, mm: a place on the boss and the
 * direction out of it. DECK … CONE are picks "x,y,z" in scan coordinates: the deck (becomes z), a side (becomes
 * x), a boss and the bolt hole in it (becomes the origin), a cylinder and a cone. Parts go to FOLDER as STEP.
 */
#include "kernel_part.hpp"
#include "kernel_shapes.hpp"
#include "verify.hpp"

#include <cstdio>
#include <fstream>

using fitwright::Context;
using fitwright::Feature;
using fitwright::Point;
using fitwright::Region;
using fitwright::Scan;

namespace {

/* The host's own mesh: here read from a binary PLY of floats, in an add-in already on the screen. */
struct Triangles {
    std::vector<float> points;
    std::vector<std::uint32_t> corners;
};

Triangles read_ply(const char *path) {
    std::ifstream file(path, std::ios::binary);
    std::size_t points = 0, faces = 0;
    for (std::string line; std::getline(file, line) && line != "end_header";) {
        std::sscanf(line.c_str(), "element vertex %zu", &points);
        std::sscanf(line.c_str(), "element face %zu", &faces);
    }
    Triangles out;
    out.points.resize(3 * points);
    out.corners.resize(3 * faces);
    file.read(reinterpret_cast<char *>(out.points.data()), static_cast<std::streamsize>(12 * points));
    for (std::size_t i = 0; i < faces && file.get() == 3; ++i)
        file.read(reinterpret_cast<char *>(&out.corners[3 * i]), 12);
    if (!file) throw std::runtime_error(std::string(path) + " is no PLY file of floats and triangles");
    return out;
}

std::vector<double> numbers(const char *text) {
    std::vector<double> out;
    for (char *end = nullptr;; text = end + 1) {
        out.push_back(std::strtod(text, &end));
        if (*end != ',') return out;
    }
}

Point pick(const char *text) {
    const std::vector<double> n = numbers(text);
    if (n.size() != 3) throw std::runtime_error(std::string(text) + " is no x,y,z");
    return {{n[0], n[1], n[2]}};
}

/* A feature with all points of its surface. */
struct Seen {
    Feature feature;
    Region surface;
};

/* Points grown from a pick, a shape through the inner ones, its bounds from all of them. */
Seen seen(const Scan &scan, const char *name, const char *at, int32_t kind, const char *fitter) {
    fitw_grow_options grow = fitwright::sized<fitw_grow_options>();
    grow.trim_mm = -1.0; /* edges included */
    Region surface = scan.grow(pick(at), kind, grow);
    Feature feature = surface.trim().fit(fitter).feature(name, surface);
    return {std::move(feature), std::move(surface)};
}

/* Points exactly on a part of a torus, or of a sphere if `major` is 0: shapes that the mill has none of. */
Scan exact(const Context &context, double major, double minor) {
    std::vector<double> xyz;
    for (int i = 0; i < 60; ++i)
        for (int j = 0; j < 30; ++j) {
            const double u = 0.05 * i, v = 0.04 * j - 0.5, r = major + minor * std::cos(v);
            xyz.insert(xyz.end(), {r * std::cos(u) - 30.0, r * std::sin(u) + 20.0, minor * std::sin(v) + 50.0});
        }
    return context.scan(fitwright::Mesh(fitwright::Span<const double>(xyz)));
}

Seen all_of(const Scan &scan, const char *name, const char *fitter) {
    Region all = scan.all();
    Feature feature = all.fit(fitter).feature(name, all);
    return {std::move(feature), std::move(all)};
}

/* The part of a designer whose hole is `offset` off, checked against the scan. */
void check_part(const Context &context, const std::string &folder, const gp_Ax2 &boss, double offset,
                const Scan &scan, const fitwright::Datum &datum, const Seen &seat, const fitwright::Hole &hole) {
    const std::string name = "foot-" + std::to_string(offset).substr(0, 4);
    const TopoDS_Shape solid =
        kernel::through_step(kernel::foot(boss, 0.8 * offset, 0.6 * offset), folder + "/" + name + ".step");
    const kernel::Mesh mesh = kernel::mesh(solid, 0.002);
    const fitwright::Part part = context.part(
        fitwright::Mesh(fitwright::Span<const double>(mesh.points), fitwright::Span<const std::uint32_t>(mesh.triangles)),
        name);
    verify::part(part, solid);

    const fitw_pose machine_from_scan = datum.pose();
    const Feature boss_feature = seat.feature.move(machine_from_scan), bolt = hole.feature.move(machine_from_scan);
    fitwright::Scene scene(part);
    scene.datum(datum);
    const int32_t at = scene.scan(scan, "front", machine_from_scan);
    const int32_t face = scene.feature(boss_feature, true, "", &seat.surface, at);
    const gp_Pnt middle = boss.Location().Translated(gp_Vec(boss.Direction()) * 5.0);
    scene.mount(scene.feature(bolt, false, "M8", &hole.wall, at), face, {{middle.X(), middle.Y(), middle.Z()}});
    const fitwright::Check check = scene.check();
    std::printf("part %s: verdict %d, offset %.3f\n", name.c_str(), check.verdict(), offset);
    for (std::size_t i = 0; i < check.size(); ++i) {
        const fitw_finding f = check.finding(i);
        std::printf("  %d %s %s: %.4f +- %.4f\n", f.verdict, f.kind_name.ptr, f.name.ptr, f.value_mm, f.uncertainty_mm);
    }
}

void run(char **argument) {
    fitwright::ContextOptions options;
    options.threads = FITW_THREADS_ALL;
    const Context context = Context::create(options);
    const Triangles own = read_ply(argument[1]);
    const Scan scan = context.scan(
        fitwright::Mesh(fitwright::Span<const float>(own.points), fitwright::Span<const std::uint32_t>(own.corners)));

    const Seen deck = seen(scan, "deck", argument[4], FITW_KIND_PLANE, "builtin.plane");
    const Seen side = seen(scan, "side", argument[5], FITW_KIND_PLANE, "builtin.plane");
    const Seen boss = seen(scan, "boss", argument[6], FITW_KIND_PLANE, "builtin.plane");
    const fitwright::Hole hole = context.find_hole("hole", boss.feature, boss.surface, pick(argument[7]));
    const Seen filter = seen(scan, "filter", argument[8], FITW_KIND_CYLINDER, "builtin.cylinder");
    const Seen cone = seen(scan, "cone", argument[9], FITW_KIND_CONE, "builtin.cone");
    const Scan on_ball = exact(context, 0.0, 25.0), on_ring = exact(context, 40.0, 12.0);
    const Seen ball = all_of(on_ball, "ball", "builtin.sphere"), ring = all_of(on_ring, "ring", "builtin.torus");
    const fitwright::Datum datum =
        context.datum({{deck.feature, "+z"}, {side.feature, "+x"}, {hole.feature, "", "origin"}});

    /* Into the add-in's document: the kernel's shapes, in machine coordinates, without a file between. */
    const fitw_pose machine_from_scan = datum.pose();
    for (const Seen *s : {&deck, &side, &boss, &filter, &cone})
        verify::feature(context, s->feature.move(machine_from_scan), scan, s->surface, machine_from_scan);
    verify::feature(context, hole.feature.move(machine_from_scan), scan, hole.wall, machine_from_scan);
    verify::feature(context, ball.feature, on_ball, ball.surface, fitwright::identity());
    verify::feature(context, ring.feature, on_ring, ring.surface, fitwright::identity());

    const std::vector<double> n = numbers(argument[3]);
    if (n.size() != 6) throw std::runtime_error("the boss is x,y,z,i,j,k");
    const gp_Ax2 place(gp_Pnt(n[0], n[1], n[2]), gp_Dir(n[3], n[4], n[5]));
    for (double offset : {0.05, 1.5}) check_part(context, argument[2], place, offset, scan, datum, boss, hole);
}

} /* namespace */

int main(int argc, char **argv) try {
    if (argc != 10) {
        std::fprintf(stderr, "usage: host front.ply FOLDER x,y,z,i,j,k DECK SIDE BOSS HOLE FILTER CONE\n");
        return 64;
    }
    if (!FITW_ABI_FITS(fitw_abi_version())) {
        std::fprintf(stderr, "libfitwright is another version than this program was built for\n");
        return 1;
    }
    run(argv);
    return 0;
} catch (const fitwright::Error &e) {
    std::fprintf(stderr, "%s\n  (%s, status %d)\n", e.what(), e.place().c_str(), static_cast<int>(e.status()));
    return 1;
} catch (const Standard_Failure &e) {
    std::fprintf(stderr, "kernel: %s\n", e.GetMessageString());
    return 1;
} catch (const std::exception &e) {
    std::fprintf(stderr, "%s\n", e.what());
    return 1;
}
