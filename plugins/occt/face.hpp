// Exact surfaces of faces in the interface's form.
#pragma once

#include <BRepAdaptor_Surface.hxx>
#include <fitwright_plugin.h>

// The surface of a face; `reversed` is left 0.
fitw_plugin_face describe(const BRepAdaptor_Surface &surface);

// Distance of a place from a standard shape that is no plane, mm.
double distance(const fitw_plugin_face &face, const gp_XYZ &place);

// A vector along the shape's own normal at a place near it; zero for a surface of no standard shape.
gp_Vec own_normal(const fitw_plugin_face &face, const gp_Pnt &place);
