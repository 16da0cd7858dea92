#include "mesh.hpp"

#include "face.hpp"
#include "refine.hpp"

#include <BRepMesh_IncrementalMesh.hxx>
#include <BRepTools.hxx>
#include <BRep_Tool.hxx>
#include <IMeshTools_Parameters.hxx>
#include <NCollection_DataMap.hxx>
#include <Poly_PolygonOnTriangulation.hxx>
#include <Poly_Triangulation.hxx>
#include <TopExp.hxx>
#include <TopExp_Explorer.hxx>
#include <TopTools_ShapeMapHasher.hxx>
#include <TopoDS.hxx>
#include <TopoDS_Edge.hxx>
#include <TopoDS_Face.hxx>
#include <TopoDS_Vertex.hxx>

#include <algorithm>
#include <array>
#include <vector>

namespace {

constexpr uint32_t unknown = UINT32_MAX;
// Largest turn between neighbouring pieces of an edge, rad: small rounds keep their form.
constexpr double turn = 0.35;

void mesh(const Call &call, const TopoDS_Shape &shape)
{
    IMeshTools_Parameters parameters;
    parameters.Deflection = call.input->chord_error_mm;
    parameters.Angle = turn;
    BRepTools::Clean(shape);
    const Handle(Progress) progress = new Progress(call, 0.5, 0.8);
    BRepMesh_IncrementalMesh(shape, parameters, progress->Start());
    call.check();
}

using Triangle = std::array<uint32_t, 3>;

// One solid's mesh: points of edges and corners are made once and shared by all faces that meet there.
class Solid {
public:
    Solid(uint32_t point, uint32_t face) : first_point(point), first_face(face) {}

    // Adds a face within `asked` of its surface, mm, or as near as its border lets; how far off it is.
    double add(const TopoDS_Face &face, double asked);
    void turn_outwards();
    void hand_over(const Call &call);
    uint32_t point_count() const { return static_cast<uint32_t>(points.size() / 3); }
    uint32_t face_count() const { return static_cast<uint32_t>(faces.size()); }

private:
    uint32_t add(const gp_Pnt &p)
    {
        points.insert(points.end(), {p.X(), p.Y(), p.Z()});
        return point_count() - 1;
    }
    gp_Pnt place(uint32_t k) const { return {points[3 * k], points[3 * k + 1], points[3 * k + 2]}; }
    uint32_t corner(const TopoDS_Vertex &vertex);
    void take_edges(const TopoDS_Face &face, const Handle(Poly_Triangulation) &mesh, const TopLoc_Location &at,
                    std::vector<uint32_t> &of_node);
    void take_triangles(const FaceMesh &mesh, const std::vector<uint32_t> &of_node, bool turned,
                        fitw_plugin_face described);

    uint32_t first_point, first_face;
    std::vector<double> points;
    std::vector<Triangle> triangles;
    std::vector<uint32_t> face_of;
    std::vector<fitw_plugin_face> faces;
    NCollection_DataMap<TopoDS_Shape, uint32_t, TopTools_ShapeMapHasher> corners;
    NCollection_DataMap<TopoDS_Shape, std::vector<uint32_t>, TopTools_ShapeMapHasher> edges;
};

uint32_t Solid::corner(const TopoDS_Vertex &vertex)
{
    if (const uint32_t *known = corners.Seek(vertex)) return *known;
    const uint32_t made = add(BRep_Tool::Pnt(vertex));
    corners.Bind(vertex, made);
    return made;
}

// Points of a face's nodes that lie on its edges.
void Solid::take_edges(const TopoDS_Face &face, const Handle(Poly_Triangulation) &mesh, const TopLoc_Location &at,
                       std::vector<uint32_t> &of_node)
{
    for (TopExp_Explorer e(face, TopAbs_EDGE); e.More(); e.Next()) {
        const TopoDS_Edge &edge = TopoDS::Edge(e.Current());
        const Handle(Poly_PolygonOnTriangulation) line = BRep_Tool::PolygonOnTriangulation(edge, mesh, at);
        if (line.IsNull()) continue;
        const auto count = static_cast<size_t>(line->NbNodes());
        const auto node = [&](size_t i) { return static_cast<size_t>(line->Node(static_cast<int>(i) + 1)); };
        TopoDS_Vertex from, to;
        TopExp::Vertices(TopoDS::Edge(edge.Oriented(TopAbs_FORWARD)), from, to);
        if (from.IsNull() || to.IsNull()) continue;
        if (BRep_Tool::Degenerated(edge)) { // a pole or an apex: all its nodes are one place
            for (size_t i = 0; i < count; ++i) of_node[node(i)] = corner(from);
            continue;
        }
        if (!edges.IsBound(edge)) {
            std::vector<uint32_t> made(count);
            made.front() = corner(from);
            for (size_t i = 1; i + 1 < count; ++i)
                made[i] = add(mesh->Node(static_cast<int>(node(i))).Transformed(at));
            made.back() = corner(to);
            edges.Bind(edge, made);
        }
        const std::vector<uint32_t> &known = edges.Find(edge);
        if (known.size() != count)
            throw Refused{FITW_PLUGIN_E_INTERNAL, "the kernel divides an edge in two ways; try another chord error"};
        for (size_t i = 0; i < count; ++i) of_node[node(i)] = known[i];
    }
}

double Solid::add(const TopoDS_Face &face, double asked)
{
    TopLoc_Location at;
    const Handle(Poly_Triangulation) mesh = BRep_Tool::Triangulation(face, at);
    if (mesh.IsNull())
        throw Refused{FITW_PLUGIN_E_INPUT, "a face that the kernel finds no triangles for; heal the part where it "
                                           "was made, or export it as a mesh (STL, PLY or OBJ)"};
    std::vector<uint32_t> of_node(static_cast<size_t>(mesh->NbNodes()) + 1, unknown);
    take_edges(face, mesh, at, of_node);
    FaceMesh fine;
    for (int i = 1; i <= mesh->NbNodes(); ++i) {
        uint32_t &node = of_node[static_cast<size_t>(i)];
        if (node == unknown) node = add(mesh->Node(i).Transformed(at));
        fine.parameters.push_back(mesh->HasUVNodes() ? mesh->UVNode(i).XY() : gp_XY());
        fine.places.push_back(place(node).XYZ());
    }
    of_node.erase(of_node.begin()); // the kernel counts from 1
    for (int i = 1; i <= mesh->NbTriangles(); ++i) {
        int n[3];
        mesh->Triangle(i).Get(n[0], n[1], n[2]);
        std::array<size_t, 3> t;
        for (size_t k = 0; k < 3; ++k) t[k] = static_cast<size_t>(n[k] - 1);
        if (of_node[t[0]] != of_node[t[1]] && of_node[t[1]] != of_node[t[2]] && of_node[t[2]] != of_node[t[0]])
            fine.triangles.push_back(t);
    }
    const double off = mesh->HasUVNodes() ? refine(fine, face, asked) : 0.0;
    while (of_node.size() < fine.places.size()) of_node.push_back(add(gp_Pnt(fine.places[of_node.size()])));
    const bool turned = (face.Orientation() == TopAbs_REVERSED) != at.Transformation().IsNegative();
    take_triangles(fine, of_node, turned, describe(BRepAdaptor_Surface(face, Standard_False)));
    return off;
}

void Solid::take_triangles(const FaceMesh &mesh, const std::vector<uint32_t> &of_node, bool turned,
                           fitw_plugin_face described)
{
    double along = 0.0;
    for (const std::array<size_t, 3> &nodes : mesh.triangles) {
        Triangle t = {of_node[nodes[0]], of_node[nodes[1]], of_node[nodes[2]]};
        if (turned) std::swap(t[1], t[2]);
        const gp_Pnt a = place(t[0]), b = place(t[1]), c = place(t[2]);
        const gp_Pnt middle((a.XYZ() + b.XYZ() + c.XYZ()) / 3.0);
        along += (gp_Vec(a, b) ^ gp_Vec(a, c)).Dot(own_normal(described, middle));
        triangles.push_back(t);
        face_of.push_back(first_face + face_count());
    }
    described.reversed = along < 0.0;
    faces.push_back(described);
}

// Sewn faces may have come out inside out as a whole.
void Solid::turn_outwards()
{
    double volume = 0.0;
    const gp_Pnt origin = points.empty() ? gp_Pnt() : place(0);
    for (const Triangle &t : triangles) {
        const gp_Vec a(origin, place(t[0])), b(origin, place(t[1])), c(origin, place(t[2]));
        volume += a.Dot(b ^ c);
    }
    if (volume >= 0.0) return;
    for (Triangle &t : triangles) std::swap(t[1], t[2]);
    for (fitw_plugin_face &face : faces)
        if (face.shape != FITW_PLUGIN_SHAPE_OTHER) face.reversed = 1 - face.reversed;
}

void Solid::hand_over(const Call &call)
{
    const fitw_plugin_part *part = call.part;
    for (Triangle &t : triangles)
        for (uint32_t &corner : t) corner += first_point;
    Call::taken(part->solid(part));
    Call::taken(part->points(part, points.data(), point_count()));
    for (const fitw_plugin_face &face : faces) Call::taken(part->face(part, &face));
    if (!triangles.empty())
        Call::taken(part->triangles(part, triangles.front().data(), face_of.data(), triangles.size()));
}

} // namespace

void hand_over(const Call &call, const TopoDS_Shape &shape)
{
    mesh(call, shape);
    const double asked = call.input->chord_error_mm;
    double worst = asked;
    uint32_t points = 0, faces = 0;
    for (TopExp_Explorer s(shape, TopAbs_SOLID); s.More(); s.Next()) {
        Solid solid(points, faces);
        for (TopExp_Explorer face(s.Current(), TopAbs_FACE); face.More(); face.Next()) {
            call.check();
            worst = std::max(worst, solid.add(TopoDS::Face(face.Current()), asked));
        }
        solid.turn_outwards();
        solid.hand_over(call);
        points += solid.point_count();
        faces += solid.face_count();
    }
    if (worst > asked) Call::taken(call.part->chord_error(call.part, worst));
}
