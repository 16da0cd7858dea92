// Shapes into closed triangle meshes, handed to the host.
#pragma once

#include "call.hpp"

#include <TopoDS_Shape.hxx>

// Meshes a shape within the call's chord error as far as the kernel gets there, and hands over all its solids.
void hand_over(const Call &call, const TopoDS_Shape &shape);
