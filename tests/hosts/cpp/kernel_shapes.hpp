/* Features as shapes of the OCCT kernel, in memory. A feature's pieces say all that the kernel asks for. */
#ifndef KERNEL_SHAPES_HPP
#define KERNEL_SHAPES_HPP

#include <fitwright.hpp>

#include <BRepBuilderAPI_MakeEdge.hxx>
#include <BRepBuilderAPI_MakeFace.hxx>
#include <BRepBuilderAPI_MakePolygon.hxx>
#include <BRep_Builder.hxx>
#include <Geom_ConicalSurface.hxx>
#include <Geom_CylindricalSurface.hxx>
#include <Geom_SphericalSurface.hxx>
#include <Geom_ToroidalSurface.hxx>
#include <TopoDS.hxx>
#include <TopoDS_Compound.hxx>
#include <TopoDS_Face.hxx>
#include <gp_Ax3.hxx>
#include <gp_Circ.hxx>
#include <gp_Pln.hxx>
#include <gp_Sphere.hxx>
#include <gp_Torus.hxx>

#include <cmath>
#include <stdexcept>

namespace kernel {

inline gp_Pnt point(const double *p) { return gp_Pnt(p[0], p[1], p[2]); }
inline gp_Dir direction(const double *d) { return gp_Dir(d[0], d[1], d[2]); }

/* A flat face bounded by the outline's loops. */
inline TopoDS_Shape outline(const fitwright::Feature &feature, std::size_t index, const fitw_piece &piece) {
    TopoDS_Face face;
    const gp_Pln plane(point(piece.point_mm), direction(piece.direction));
    for (std::size_t loop = 0; loop < piece.loop_count; ++loop) {
        const fitwright::Span<const double> xyz = feature.loop(index, loop);
        BRepBuilderAPI_MakePolygon wire;
        for (std::size_t i = 0; i + 2 < xyz.size(); i += 3) wire.Add(point(&xyz[i]));
        wire.Close();
        /* Loop 0 runs counter-clockwise about the normal, holes clockwise: as the kernel wants them. */
        if (loop == 0) face = BRepBuilderAPI_MakeFace(plane, wire.Wire());
        else face = BRepBuilderAPI_MakeFace(face, wire.Wire());
    }
    return face;
}

/* A patch of cylinder, cone, sphere or torus between parameters. */
inline TopoDS_Shape patch(const fitw_piece &piece) {
    const gp_Ax3 frame(point(piece.point_mm), direction(piece.pole), direction(piece.zero));
    double v_from = piece.v_from, v_to = piece.v_to;
    Handle(Geom_Surface) surface;
    switch (piece.kind) {
    case FITW_KIND_CYLINDER: surface = new Geom_CylindricalSurface(frame, piece.size_1); break;
    case FITW_KIND_CONE:
        surface = new Geom_ConicalSurface(frame, piece.size_2, piece.size_1);
        /* The kernel counts along the slope, the piece along the axis. */
        v_from /= std::cos(piece.size_2);
        v_to /= std::cos(piece.size_2);
        break;
    case FITW_KIND_SPHERE: surface = new Geom_SphericalSurface(frame, piece.size_1); break;
    case FITW_KIND_TORUS: surface = new Geom_ToroidalSurface(frame, piece.size_1, piece.size_2); break;
    default: throw std::runtime_error("a patch of an unknown kind");
    }
    return BRepBuilderAPI_MakeFace(surface, piece.u_from, piece.u_to, v_from, v_to, 1e-7).Face();
}

/* All of a shape that ends by itself. */
inline TopoDS_Shape whole(const fitw_piece &piece) {
    const gp_Pnt middle = point(piece.point_mm);
    switch (piece.kind) {
    case FITW_KIND_CIRCLE:
        return BRepBuilderAPI_MakeEdge(gp_Circ(gp_Ax2(middle, direction(piece.direction)), piece.size_1)).Edge();
    case FITW_KIND_SPHERE:
        return BRepBuilderAPI_MakeFace(gp_Sphere(gp_Ax3(middle, gp::DZ()), piece.size_1)).Face();
    case FITW_KIND_TORUS:
        return BRepBuilderAPI_MakeFace(
                   gp_Torus(gp_Ax3(middle, direction(piece.direction)), piece.size_1, piece.size_2)).Face();
    default: throw std::runtime_error("an unbounded piece");
    }
}

inline TopoDS_Shape shape(const fitwright::Feature &feature, std::size_t index) {
    const fitw_piece piece = feature.piece(index);
    switch (piece.extent) {
    case FITW_EXTENT_OUTLINE: return outline(feature, index, piece);
    case FITW_EXTENT_PATCH: return patch(piece);
    case FITW_EXTENT_SEGMENT: {
        const gp_Lin line(point(piece.point_mm), direction(piece.direction));
        return BRepBuilderAPI_MakeEdge(line, piece.u_from, piece.u_to).Edge();
    }
    case FITW_EXTENT_ARC: {
        const gp_Ax2 frame(point(piece.point_mm), direction(piece.direction), direction(piece.zero));
        return BRepBuilderAPI_MakeEdge(gp_Circ(frame, piece.size_1), piece.u_from, piece.u_to).Edge();
    }
    case FITW_EXTENT_WHOLE: return whole(piece);
    default: throw std::runtime_error("an extent that this host does not know");
    }
}

/* All pieces of a feature: a hole is its wall, rim and axis. */
inline TopoDS_Compound shapes(const fitwright::Feature &feature) {
    TopoDS_Compound all;
    BRep_Builder builder;
    builder.MakeCompound(all);
    const std::size_t count = feature.describe().piece_count;
    for (std::size_t index = 0; index < count; ++index) builder.Add(all, shape(feature, index));
    return all;
}

} /* namespace kernel */

#endif
