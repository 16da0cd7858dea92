// Finds planes, cylinders, cones, spheres and tori with CGAL's Efficient RANSAC.
//
//     ransac FOLDER EPSILON CLUSTER LEAST
//
// FOLDER holds raw little-endian 64-bit floats, three a point: `scan.points` (mm) and `scan.normals`. EPSILON is
// the largest distance of a point from its shape, CLUSTER that between neighbours (mm), LEAST the fewest points.
// Printed is a JSON object: seconds, and the shapes as [kind, [numbers of its points]].
#include <CGAL/Exact_predicates_inexact_constructions_kernel.h>
#include <CGAL/Shape_detection/Efficient_RANSAC.h>
#include <CGAL/property_map.h>

#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <fstream>
#include <string>
#include <tuple>
#include <vector>

using Kernel = CGAL::Exact_predicates_inexact_constructions_kernel;
// With its number, as the search may bring the points into another order.
using Numbered = std::tuple<Kernel::Point_3, Kernel::Vector_3, std::size_t>;
using Points = std::vector<Numbered>;
using Traits = CGAL::Shape_detection::Efficient_RANSAC_traits<
    Kernel, Points, CGAL::Nth_of_tuple_property_map<0, Numbered>, CGAL::Nth_of_tuple_property_map<1, Numbered>>;
using Ransac = CGAL::Shape_detection::Efficient_RANSAC<Traits>;

std::vector<double> read(const std::string& path) {
    std::ifstream file(path, std::ios::binary | std::ios::ate);
    std::vector<double> values(static_cast<std::size_t>(file.tellg()) / sizeof(double));
    file.seekg(0);
    file.read(reinterpret_cast<char*>(values.data()), static_cast<std::streamsize>(values.size() * sizeof(double)));
    return values;
}

const char* kind(const Ransac::Shape& shape) {
    namespace s = CGAL::Shape_detection;
    if (dynamic_cast<const s::Plane<Traits>*>(&shape)) return "plane";
    if (dynamic_cast<const s::Cylinder<Traits>*>(&shape)) return "cylinder";
    if (dynamic_cast<const s::Cone<Traits>*>(&shape)) return "cone";
    if (dynamic_cast<const s::Sphere<Traits>*>(&shape)) return "sphere";
    return "torus";
}

int main(int argc, char** argv) {
    if (argc != 5) return 2;
    const std::string folder = argv[1];
    const auto at = read(folder + "/scan.points"), normal = read(folder + "/scan.normals");
    Points points;
    for (std::size_t i = 0; i + 2 < at.size(); i += 3) {
        const Kernel::Point_3 point(at[i], at[i + 1], at[i + 2]);
        points.emplace_back(point, Kernel::Vector_3(normal[i], normal[i + 1], normal[i + 2]), i / 3);
    }
    Ransac::Parameters parameters;
    parameters.probability = 0.05;
    parameters.min_points = static_cast<std::size_t>(std::atol(argv[4]));
    parameters.epsilon = std::atof(argv[2]);
    parameters.cluster_epsilon = std::atof(argv[3]);
    parameters.normal_threshold = 0.9;
    const auto begin = std::chrono::steady_clock::now();
    Ransac ransac;
    ransac.set_input(points);
    namespace s = CGAL::Shape_detection;
    ransac.add_shape_factory<s::Plane<Traits>>();
    ransac.add_shape_factory<s::Cylinder<Traits>>();
    ransac.add_shape_factory<s::Cone<Traits>>();
    ransac.add_shape_factory<s::Sphere<Traits>>();
    ransac.add_shape_factory<s::Torus<Traits>>();
    ransac.detect(parameters);
    const std::chrono::duration<double> time = std::chrono::steady_clock::now() - begin;
    std::printf("{\"seconds\": %.6f, \"shapes\": [", time.count());
    bool first = true;
    for (const auto& shape : ransac.shapes()) {
        std::printf("%s[\"%s\", [", first ? "" : ", ", kind(*shape));
        bool own = true;
        for (const std::size_t i : shape->indices_of_assigned_points()) {
            std::printf(own ? "%zu" : ", %zu", std::get<2>(points[i]));
            own = false;
        }
        std::printf("]]");
        first = false;
    }
    std::printf("]}\n");
}
