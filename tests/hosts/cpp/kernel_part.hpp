/* The designed part on the kernel's side: made, written and read as STEP, meshed for the engine. */
#ifndef KERNEL_PART_HPP
#define KERNEL_PART_HPP

#include <fitwright.hpp>

#include <BRepAlgoAPI_Cut.hxx>
#include <BRepMesh_IncrementalMesh.hxx>
#include <BRepPrimAPI_MakeBox.hxx>
#include <BRepPrimAPI_MakeCylinder.hxx>
#include <BRep_Tool.hxx>
#include <Interface_Static.hxx>
#include <Message.hxx>
#include <Message_Messenger.hxx>
#include <Poly_Triangulation.hxx>
#include <STEPControl_Reader.hxx>
#include <STEPControl_Writer.hxx>
#include <TopExp_Explorer.hxx>
#include <TopoDS.hxx>
#include <TopoDS_Face.hxx>
#include <gp_Ax2.hxx>

#include <cmath>
#include <cstdint>
#include <map>
#include <stdexcept>
#include <string>
#include <tuple>
#include <vector>

namespace kernel {

/* A foot of 32 × 43 × 10 mm on a boss, with a bolt hole of radius 4.5 mm at (across, along) from the middle
 * of the boss, whose frame is given. */
inline TopoDS_Shape foot(const gp_Ax2 &boss, double across, double along) {
    const auto at = [&](double x, double y, double z) {
        return boss.Location().Translated(gp_Vec(boss.XDirection()) * x + gp_Vec(boss.YDirection()) * y +
                                          gp_Vec(boss.Direction()) * z);
    };
    const TopoDS_Shape block =
        BRepPrimAPI_MakeBox(gp_Ax2(at(-16, -16, 0), boss.Direction(), boss.XDirection()), 32, 43, 10).Shape();
    const gp_Ax2 axis(at(across, along, -1), boss.Direction(), boss.XDirection());
    return BRepAlgoAPI_Cut(block, BRepPrimAPI_MakeCylinder(axis, 4.5, 12).Shape()).Shape();
}

/* The part as its user gets it: through a STEP file of the kernel's own. */
inline TopoDS_Shape through_step(const TopoDS_Shape &part, const std::string &path) {
    Message::DefaultMessenger()->ChangePrinters().Clear();
    STEPControl_Writer writer;
    Interface_Static::SetCVal("write.step.unit", "MM");
    if (writer.Transfer(part, STEPControl_AsIs) != IFSelect_RetDone ||
        writer.Write(path.c_str()) != IFSelect_RetDone)
        throw std::runtime_error("the kernel cannot write " + path);
    STEPControl_Reader reader;
    if (reader.ReadFile(path.c_str()) != IFSelect_RetDone || reader.TransferRoots() == 0)
        throw std::runtime_error("the kernel cannot read " + path);
    return reader.OneShape();
}

/* Triangles whose corners are shared by number, as the engine wants them. */
struct Mesh {
    std::vector<double> points;
    std::vector<std::uint32_t> triangles;
};

/* The kernel meshes each face by itself, with the same corners along shared edges: equal places become one. */
inline Mesh mesh(const TopoDS_Shape &part, double chord_error) {
    BRepMesh_IncrementalMesh(part, chord_error, Standard_False, 0.1);
    Mesh out;
    std::map<std::tuple<long long, long long, long long>, std::uint32_t> known;
    const auto number = [&](const gp_Pnt &p) {
        const auto cell = [](double x) { return std::llround(x * 1e6); };
        const auto next = static_cast<std::uint32_t>(known.size());
        const auto found = known.emplace(std::make_tuple(cell(p.X()), cell(p.Y()), cell(p.Z())), next);
        if (found.second) out.points.insert(out.points.end(), {p.X(), p.Y(), p.Z()});
        return found.first->second;
    };
    for (TopExp_Explorer faces(part, TopAbs_FACE); faces.More(); faces.Next()) {
        const TopoDS_Face face = TopoDS::Face(faces.Current());
        TopLoc_Location place;
        const Handle(Poly_Triangulation) triangles = BRep_Tool::Triangulation(face, place);
        if (triangles.IsNull()) throw std::runtime_error("a face without a mesh");
        for (int t = 1; t <= triangles->NbTriangles(); ++t) {
            int corner[3];
            triangles->Triangle(t).Get(corner[0], corner[1], corner[2]);
            if (face.Orientation() == TopAbs_REVERSED) std::swap(corner[1], corner[2]);
            for (int c : corner) out.triangles.push_back(number(triangles->Node(c).Transformed(place)));
        }
    }
    return out;
}

} /* namespace kernel */

#endif
