/* What an add-in would trust, checked: the kernel's own words about the shapes it was given. */
#ifndef VERIFY_HPP
#define VERIFY_HPP

#include "kernel_shapes.hpp"

#include <BRepAdaptor_Surface.hxx>
#include <BRepBuilderAPI_MakeVertex.hxx>
#include <BRepCheck_Analyzer.hxx>
#include <BRepExtrema_DistShapeShape.hxx>
#include <BRepGProp.hxx>
#include <GProp_GProps.hxx>
#include <TopExp_Explorer.hxx>

#include <algorithm>
#include <cstdio>
#include <string>
#include <vector>

namespace verify {

inline void that(bool holds, const std::string &what) {
    if (!holds) throw std::runtime_error("not so: " + what);
}

inline double off(double a, double b) { return std::fabs(a - b); }

/* Largest difference of the kernel's parameters of a face from ours: sizes, and what a place or direction is
 * worth on the shape. */
inline double parameters(const BRepAdaptor_Surface &face, const fitw_shape &ours) {
    const gp_Pnt place = kernel::point(ours.point_mm);
    const auto along = [&](const gp_Ax1 &axis) {
        const gp_XYZ across = axis.Direction().XYZ().Crossed(kernel::direction(ours.direction).XYZ());
        return std::max(gp_Lin(axis).Distance(place), across.Modulus());
    };
    switch (face.GetType()) {
    case GeomAbs_Plane: {
        const gp_Pln plane = face.Plane();
        const gp_XYZ across = plane.Axis().Direction().XYZ().Crossed(kernel::direction(ours.direction).XYZ());
        return std::max(plane.Distance(place), across.Modulus());
    }
    case GeomAbs_Cylinder: return std::max(along(face.Cylinder().Axis()), off(face.Cylinder().Radius(), ours.size_1));
    case GeomAbs_Cone: {
        const gp_Cone cone = face.Cone();
        const double radius = cone.RefRadius() + gp_Vec(cone.Location(), place).Dot(gp_Vec(cone.Axis().Direction())) *
                                                     std::tan(cone.SemiAngle());
        return std::max({along(cone.Axis()), off(radius, ours.size_1), off(cone.SemiAngle(), ours.size_2)});
    }
    case GeomAbs_Sphere:
        return std::max(face.Sphere().Location().Distance(place), off(face.Sphere().Radius(), ours.size_1));
    case GeomAbs_Torus:
        return std::max({along(face.Torus().Axis()), face.Torus().Location().Distance(place),
                         off(face.Torus().MajorRadius(), ours.size_1), off(face.Torus().MinorRadius(), ours.size_2)});
    default: throw std::runtime_error("the kernel has another surface than was given");
    }
}

/* Places all over a face, as the kernel says where they are. */
inline std::vector<double> places(const BRepAdaptor_Surface &face) {
    std::vector<double> xyz;
    for (int i = 0; i <= 8; ++i)
        for (int j = 0; j <= 8; ++j) {
            const double u = face.FirstUParameter() + i * (face.LastUParameter() - face.FirstUParameter()) / 8;
            const double v = face.FirstVParameter() + j * (face.LastVParameter() - face.FirstVParameter()) / 8;
            const gp_Pnt p = face.Value(u, v);
            xyz.insert(xyz.end(), {p.X(), p.Y(), p.Z()});
        }
    return xyz;
}

/* The feature as shapes: the kernel calls them valid, has our parameters to 1e-9, lies on our surface to 1e-9,
 * and its bounded faces are where the points are that they were fitted to. */
inline TopoDS_Compound feature(const fitwright::Context &context, const fitwright::Feature &feature,
                               const fitwright::Scan &scan, const fitwright::Region &surface,
                               const fitw_pose &machine_from_scan) {
    const std::string name = fitwright::str(feature.describe().name);
    const TopoDS_Compound all = kernel::shapes(feature);
    that(BRepCheck_Analyzer(all).IsValid(), name + " is valid");
    const fitw_shape ours = feature.shape();
    TopExp_Explorer faces(all, TopAbs_FACE);
    that(faces.More(), name + " has a face");
    const TopoDS_Face face = TopoDS::Face(faces.Current());
    const BRepAdaptor_Surface kernel_face(face);
    const double differ = parameters(kernel_face, ours);
    that(differ <= 1e-9, name + ": parameters differ by " + std::to_string(differ));
    double away = 0.0;
    for (double d : context.distances(ours, fitwright::Span<const double>(places(kernel_face))))
        away = std::max(away, std::fabs(d));
    that(away <= 1e-9, name + ": the kernel's face is off our surface by " + std::to_string(away));
    GProp_GProps area;
    BRepGProp::SurfaceProperties(face, area);
    that(area.Mass() > 1.0, name + " has an area");
    std::printf("feature %s: differs %.1e, away %.1e, area %.2f", name.c_str(), differ, away, area.Mass());
    /* How far beside the bounded face a point lies: its bounds may cut corners by the scan's spacing. */
    const fitwright::Scan moved = scan.move(machine_from_scan);
    const fitwright::Span<const double> xyz = moved.points();
    const fitwright::Span<const std::uint32_t> ids = surface.ids();
    double beside = 0.0;
    std::size_t asked = 0;
    for (std::size_t i = 0; i < ids.size(); i += ids.size() / 60 + 1, ++asked) {
        const double *p = &xyz[3 * ids[i]];
        const double whole = context.distances(ours, fitwright::Span<const double>(p, 3))[0];
        const BRepExtrema_DistShapeShape to(BRepBuilderAPI_MakeVertex(kernel::point(p)).Vertex(), face);
        that(to.IsDone(), name + " has a distance");
        beside = std::max(beside, std::sqrt(std::max(0.0, to.Value() * to.Value() - whole * whole)));
    }
    that(asked > 20, name + " has points");
    that(beside <= scan.resolution(), name + ": points lie beside the kernel's face by " + std::to_string(beside));
    std::printf(", %zu of its points beside it by %.3f at most\n", asked, beside);
    return all;
}

/* The part's mesh is the kernel's solid: closed, with its volume and its bolt hole. */
inline void part(const fitwright::Part &part, const TopoDS_Shape &solid) {
    that(BRepCheck_Analyzer(solid).IsValid(), "the part is valid");
    GProp_GProps exact;
    BRepGProp::VolumeProperties(solid, exact);
    const fitw_part_info info = part.describe();
    that(info.closed == 1 && info.solid_count == 1, "the part's mesh is one closed solid");
    that(off(info.volume_mm3, exact.Mass()) < 1e-3 * exact.Mass(), "the mesh has the solid's volume");
    for (TopExp_Explorer faces(solid, TopAbs_FACE); faces.More(); faces.Next()) {
        const BRepAdaptor_Surface face(TopoDS::Face(faces.Current()));
        if (face.GetType() != GeomAbs_Cylinder) continue;
        const gp_Cylinder wall = face.Cylinder();
        const gp_Pnt middle = face.Value(face.FirstUParameter(), 0.5 * (face.FirstVParameter() + face.LastVParameter()));
        const gp_Vec axis(wall.Axis().Direction());
        const gp_Pnt on_axis = wall.Location().Translated(axis * gp_Vec(wall.Location(), middle).Dot(axis));
        const fitw_part_hole_info hole = part.hole_at({{on_axis.X(), on_axis.Y(), on_axis.Z()}});
        that(off(hole.radius_mm, wall.Radius()) < 1e-3, "the hole's radius is the kernel's");
        that(gp_Lin(wall.Axis()).Distance(kernel::point(hole.point_mm)) < 1e-3, "the hole's axis is the kernel's");
        that(off(hole.depth_mm, 10.0) < 1e-6, "the hole's depth is the plate's thickness");
        return;
    }
    that(false, "the part has a hole");
}

} /* namespace verify */

#endif
