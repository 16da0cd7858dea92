// Files into shapes of the kernel, in mm.
#pragma once

#include "call.hpp"

#include <TopoDS_Shape.hxx>

struct Contents {
    TopoDS_Shape shape;
    std::string schema;
};

enum class Format { step, iges };

// Throws Refused for a file that cannot be read.
Contents read(const Call &call, Format format);
