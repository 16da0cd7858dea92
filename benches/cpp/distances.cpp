// Times the questions of the fit check with CGAL's AABB tree.
//
//     distances FOLDER
//
// FOLDER and what is printed are those of distances.py.
#include <CGAL/AABB_face_graph_triangle_primitive.h>
#include <CGAL/AABB_traits.h>
#include <CGAL/AABB_tree.h>
#include <CGAL/Exact_predicates_inexact_constructions_kernel.h>
#include <CGAL/Surface_mesh.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstdint>
#include <cstdio>
#include <fstream>
#include <string>
#include <vector>

using Kernel = CGAL::Exact_predicates_inexact_constructions_kernel;
using Mesh = CGAL::Surface_mesh<Kernel::Point_3>;
using Primitive = CGAL::AABB_face_graph_triangle_primitive<Mesh>;
using Tree = CGAL::AABB_tree<CGAL::AABB_traits<Kernel, Primitive>>;

template <class T>
std::vector<T> read(const std::string& path) {
    std::ifstream file(path, std::ios::binary | std::ios::ate);
    std::vector<T> values(static_cast<std::size_t>(file.tellg()) / sizeof(T));
    file.seekg(0);
    file.read(reinterpret_cast<char*>(values.data()), static_cast<std::streamsize>(values.size() * sizeof(T)));
    return values;
}

Mesh mesh(const std::string& path) {
    const auto points = read<double>(path + ".points");
    const auto triangles = read<std::uint32_t>(path + ".triangles");
    Mesh mesh;
    for (std::size_t i = 0; i + 2 < points.size(); i += 3) {
        mesh.add_vertex({points[i], points[i + 1], points[i + 2]});
    }
    using Vertex = Mesh::Vertex_index;
    for (std::size_t i = 0; i + 2 < triangles.size(); i += 3) {
        mesh.add_face(Vertex(triangles[i]), Vertex(triangles[i + 1]), Vertex(triangles[i + 2]));
    }
    return mesh;
}

template <class Ask>
double median_seconds(int runs, Ask ask) {
    std::vector<double> seconds;
    for (int i = 0; i <= runs; ++i) {
        const auto begin = std::chrono::steady_clock::now();
        ask();
        const std::chrono::duration<double> time = std::chrono::steady_clock::now() - begin;
        if (i > 0) seconds.push_back(time.count());
    }
    std::sort(seconds.begin(), seconds.end());
    return seconds[seconds.size() / 2];
}

int main(int argc, char** argv) {
    if (argc != 2) return 2;
    const std::string folder = argv[1];
    const Mesh scan = mesh(folder + "/scan"), part = mesh(folder + "/clear");
    Tree tree;
    const double structure = median_seconds(3, [&] {
        for (const Mesh* m : {&part, &scan}) {
            tree.clear();
            tree.insert(faces(*m).first, faces(*m).second, *m);
            tree.build();
        }
    });
    double sum = 0;
    tree.accelerate_distance_queries();
    const double corners = median_seconds(5, [&] {
        sum = 0;
        for (const auto vertex : part.vertices()) {
            sum += std::sqrt(tree.squared_distance(part.point(vertex)));
        }
    });
    std::printf("{\"structure\": {\"CGAL\": {\"seconds\": %.9f, \"answer\": 0}}, ", structure);
    std::printf("\"corners unsigned\": {\"CGAL\": {\"seconds\": %.9f, \"answer\": %.9f}}}\n", corners, sum);
}
