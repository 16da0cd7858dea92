// Face meshes made fine enough: the kernel's own limit on the distance from the surface is a wish, not a bound.
#pragma once

#include <TopoDS_Face.hxx>
#include <gp_XY.hxx>
#include <gp_XYZ.hxx>

#include <array>
#include <cstddef>
#include <vector>

// Nodes with their parameters and places, mm, and triangles of them.
struct FaceMesh {
    std::vector<gp_XY> parameters;
    std::vector<gp_XYZ> places;
    std::vector<std::array<std::size_t, 3>> triangles;
};

// Divides sides inside of the face until mesh and surface are within `asked`, mm; those on its border stay, as the
// neighbouring face has them too. New nodes come last. The largest distance that is left.
double refine(FaceMesh &mesh, const TopoDS_Face &face, double asked);
