#include "face.hpp"

#include <gp_Ax1.hxx>
#include <gp_Cone.hxx>
#include <gp_Cylinder.hxx>
#include <gp_Pln.hxx>
#include <gp_Sphere.hxx>
#include <gp_Torus.hxx>

#include <cmath>

namespace {

// From here on the interface knows no radius, mm.
constexpr double largest_radius = 1e4;

void place(fitw_plugin_face &face, int32_t shape, const gp_Pnt &point, const gp_Dir &direction)
{
    face.shape = shape;
    point.Coord(face.point_mm[0], face.point_mm[1], face.point_mm[2]);
    direction.Coord(face.direction[0], face.direction[1], face.direction[2]);
}

void cone(fitw_plugin_face &face, const gp_Cone &cone)
{
    // The interface's axis runs towards growing radius.
    const bool shrinks = cone.SemiAngle() < 0.0;
    const gp_Dir along = shrinks ? cone.Axis().Direction().Reversed() : cone.Axis().Direction();
    const double angle = std::fabs(cone.SemiAngle());
    gp_Pnt point = cone.Location();
    face.size_1 = cone.RefRadius();
    face.size_2 = angle;
    if (face.size_1 < 1.0) { // at the apex, where the interface has no point
        point.Translate(gp_Vec(along) * (1.0 / std::tan(angle)));
        face.size_1 += 1.0;
    }
    place(face, FITW_PLUGIN_SHAPE_CONE, point, along);
}

} // namespace

fitw_plugin_face describe(const BRepAdaptor_Surface &surface)
{
    fitw_plugin_face face = {};
    face.struct_size = sizeof face;
    face.shape = FITW_PLUGIN_SHAPE_OTHER;
    switch (surface.GetType()) {
    case GeomAbs_Plane:
        place(face, FITW_PLUGIN_SHAPE_PLANE, surface.Plane().Location(), surface.Plane().Axis().Direction());
        break;
    case GeomAbs_Cylinder:
        face.size_1 = surface.Cylinder().Radius();
        place(face, FITW_PLUGIN_SHAPE_CYLINDER, surface.Cylinder().Location(), surface.Cylinder().Axis().Direction());
        break;
    case GeomAbs_Cone:
        cone(face, surface.Cone());
        break;
    case GeomAbs_Sphere:
        face.size_1 = surface.Sphere().Radius();
        place(face, FITW_PLUGIN_SHAPE_SPHERE, surface.Sphere().Location(), gp::DZ());
        break;
    case GeomAbs_Torus:
        if (surface.Torus().MinorRadius() >= surface.Torus().MajorRadius()) break; // no ring
        face.size_1 = surface.Torus().MajorRadius();
        face.size_2 = surface.Torus().MinorRadius();
        place(face, FITW_PLUGIN_SHAPE_TORUS, surface.Torus().Location(), surface.Torus().Axis().Direction());
        break;
    default:
        break;
    }
    if (face.size_1 >= largest_radius) face.shape = FITW_PLUGIN_SHAPE_OTHER;
    return face;
}

double distance(const fitw_plugin_face &face, const gp_XYZ &place)
{
    const gp_XYZ along(face.direction[0], face.direction[1], face.direction[2]);
    const gp_XYZ arm = place - gp_XYZ(face.point_mm[0], face.point_mm[1], face.point_mm[2]);
    const double height = arm * along, round = (arm - along * height).Modulus();
    switch (face.shape) {
    case FITW_PLUGIN_SHAPE_CYLINDER:
        return std::fabs(round - face.size_1);
    case FITW_PLUGIN_SHAPE_CONE:
        return std::fabs((round - face.size_1) * std::cos(face.size_2) - height * std::sin(face.size_2));
    case FITW_PLUGIN_SHAPE_SPHERE:
        return std::fabs(arm.Modulus() - face.size_1);
    default:
        return std::fabs(std::hypot(round - face.size_1, height) - face.size_2);
    }
}

gp_Vec own_normal(const fitw_plugin_face &face, const gp_Pnt &place)
{
    const gp_Pnt point(face.point_mm[0], face.point_mm[1], face.point_mm[2]);
    const gp_Vec along(face.direction[0], face.direction[1], face.direction[2]), arm(point, place);
    const gp_Vec radial = arm - along * arm.Dot(along);
    const double round = radial.Magnitude();
    switch (face.shape) {
    case FITW_PLUGIN_SHAPE_PLANE:
        return along;
    case FITW_PLUGIN_SHAPE_CYLINDER:
        return radial;
    case FITW_PLUGIN_SHAPE_CONE:
        if (round <= 0.0) return radial;
        return radial * (std::cos(face.size_2) / round) - along * std::sin(face.size_2);
    case FITW_PLUGIN_SHAPE_SPHERE:
        return arm;
    case FITW_PLUGIN_SHAPE_TORUS:
        return round > 0.0 ? arm - radial * (face.size_1 / round) : arm;
    default:
        return {};
    }
}
