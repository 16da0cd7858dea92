#include "refine.hpp"

#include "face.hpp"

#include <algorithm>
#include <cmath>
#include <map>
#include <utility>

namespace {

// Each quarters the distance.
constexpr int most_passes = 8;
// Length below which a surface has no normal at a place.
constexpr double smallest = 1e-12;

using Triangle = std::array<std::size_t, 3>;
using Side = std::pair<std::size_t, std::size_t>;

Side side(const Triangle &t, std::size_t k)
{
    return std::minmax({t[k], t[(k + 1) % 3]});
}

struct Work {
    FaceMesh &mesh;
    BRepAdaptor_Surface surface;
    fitw_plugin_face shape;
    // Triangles at each side; the node in its middle once it is divided.
    std::map<Side, std::pair<int, std::size_t>> sides;

    // Distance of a place from the surface, whose parameters there are thought to be `uv`.
    double off(const gp_XYZ &place, const gp_XY &uv) const
    {
        if (shape.shape != FITW_PLUGIN_SHAPE_OTHER) return distance(shape, place);
        gp_Pnt on;
        gp_Vec du, dv;
        surface.D1(uv.X(), uv.Y(), on, du, dv);
        const gp_Vec arm(on.XYZ() - place), normal = du ^ dv;
        const double size = normal.Magnitude();
        return size > smallest ? std::fabs(arm.Dot(normal)) / size : arm.Magnitude();
    }

    double off(const Side &s) const
    {
        const auto &[a, b] = s;
        return off((mesh.places[a] + mesh.places[b]) / 2, (mesh.parameters[a] + mesh.parameters[b]) / 2);
    }

    double middle_off(const Triangle &t) const
    {
        const auto &p = mesh.places;
        const auto &uv = mesh.parameters;
        return off((p[t[0]] + p[t[1]] + p[t[2]]) / 3, (uv[t[0]] + uv[t[1]] + uv[t[2]]) / 3);
    }

    void divide(const Side &s)
    {
        auto &[triangles, middle] = sides[s];
        if (triangles != 2 || middle != 0) return;
        const gp_XY uv = (mesh.parameters[s.first] + mesh.parameters[s.second]) / 2;
        middle = mesh.places.size();
        mesh.parameters.push_back(uv);
        mesh.places.push_back(surface.Value(uv.X(), uv.Y()).XYZ());
    }

    double pass(double asked);
    void split(const Triangle &t, std::vector<Triangle> &into) const;
};

// Divides what is too far off; the largest distance before.
double Work::pass(double asked)
{
    sides.clear();
    for (const Triangle &t : mesh.triangles)
        for (std::size_t k = 0; k < 3; ++k) ++sides[side(t, k)].first;
    double worst = 0.0;
    for (const auto &[s, unused] : sides) {
        const double here = off(s);
        worst = std::max(worst, here);
        if (here > asked) divide(s);
    }
    for (const Triangle &t : mesh.triangles) {
        const double here = middle_off(t);
        worst = std::max(worst, here);
        if (here <= asked) continue;
        const auto length = [&](std::size_t k) { return (mesh.places[t[k]] - mesh.places[t[(k + 1) % 3]]).Modulus(); };
        std::array<std::size_t, 3> longest = {0, 1, 2};
        std::sort(longest.begin(), longest.end(), [&](auto a, auto b) { return length(a) > length(b); });
        for (const std::size_t k : longest) {
            divide(side(t, k));
            if (sides[side(t, k)].second != 0) break;
        }
    }
    return worst;
}

void Work::split(const Triangle &t, std::vector<Triangle> &into) const
{
    std::size_t m[3];
    for (std::size_t k = 0; k < 3; ++k) m[k] = sides.at(side(t, k)).second;
    const int count = (m[0] != 0) + (m[1] != 0) + (m[2] != 0);
    // Turned so that an undivided side, if there is one beside divided ones, is where the cases have it.
    std::size_t k = 0;
    if (count == 1) k = m[0] != 0 ? 0 : m[1] != 0 ? 1 : 2;
    if (count == 2) k = m[2] == 0 ? 0 : m[0] == 0 ? 1 : 2;
    const std::size_t a = t[k], b = t[(k + 1) % 3], c = t[(k + 2) % 3];
    const std::size_t ab = m[k], bc = m[(k + 1) % 3], ca = m[(k + 2) % 3];
    switch (count) {
    case 0:
        into.push_back(t);
        break;
    case 1:
        into.insert(into.end(), {{a, ab, c}, {ab, b, c}});
        break;
    case 2:
        into.insert(into.end(), {{ab, b, bc}, {a, ab, bc}, {a, bc, c}});
        break;
    default:
        into.insert(into.end(), {{a, ab, ca}, {ab, b, bc}, {ca, bc, c}, {ab, bc, ca}});
    }
}

} // namespace

double refine(FaceMesh &mesh, const TopoDS_Face &face, double asked)
{
    Work work{mesh, BRepAdaptor_Surface(face, Standard_False), {}, {}};
    work.shape = describe(work.surface);
    if (work.shape.shape == FITW_PLUGIN_SHAPE_PLANE) return 0.0;
    double worst = 0.0;
    for (int i = 0; i <= most_passes; ++i) {
        const std::size_t before = mesh.places.size();
        worst = work.pass(i < most_passes ? asked : HUGE_VAL);
        if (mesh.places.size() == before) break;
        std::vector<Triangle> finer;
        for (const Triangle &t : mesh.triangles) work.split(t, finer);
        mesh.triangles = std::move(finer);
    }
    return worst;
}
