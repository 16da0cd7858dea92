/* What the C++ tests share: the made-up machine of the C tests, and checks that say what failed. */
#ifndef COMMON_HPP
#define COMMON_HPP

#include <fitwright.hpp>

#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <fstream>

#define TRUE_(condition)                                                                                      \
    do {                                                                                                      \
        if (!(condition)) {                                                                                   \
            std::fprintf(stderr, "%s:%d: %s\n", __FILE__, __LINE__, #condition);                              \
            std::exit(1);                                                                                     \
        }                                                                                                     \
    } while (0)

struct Machine {
    std::vector<double> points;
    std::vector<uint32_t> triangles;
};

/* A round deck in z = 0 of radius 30 with a hole of radius 8 along -z to z = -12, and beside it, apart, a
 * flat side in x = 40. Scatter is even over 0.02 mm, the same in every run. */
static const double HOLE_RADIUS = 8.0;
static const unsigned SIDE = 50;

inline Machine make_machine() {
    const unsigned deck = 45, wall = 24, turns = 180, rings = wall + deck + 1;
    const double pi = 3.14159265358979323846;
    Machine m;
    uint32_t state = 1;
    auto scatter = [&]() {
        state = state * 1664525u + 1013904223u;
        return (static_cast<double>(state >> 8) / 16777216.0 - 0.5) * 0.02;
    };
    auto quad = [&](unsigned a, unsigned b, unsigned c, unsigned d) {
        const uint32_t corners[] = {a, b, c, a, c, d};
        m.triangles.insert(m.triangles.end(), corners, corners + 6);
    };
    auto place = [&](double x, double y, double z) {
        const double p[] = {x, y, z};
        m.points.insert(m.points.end(), p, p + 3);
    };
    for (unsigned i = 0; i < rings; ++i)
        for (unsigned j = 0; j < turns; ++j) {
            const double turn = 2.0 * pi * j / turns, off = scatter();
            const double out = i <= wall ? 0.0 : (i - wall) * 22.0 / deck, down = i <= wall ? (wall - i) * 0.5 : 0.0;
            const double radius = HOLE_RADIUS + out + (i < wall ? off : 0.0);
            place(radius * std::cos(turn), radius * std::sin(turn), -down + (i > wall ? off : 0.0));
        }
    for (unsigned i = 0; i + 1 < rings; ++i)
        for (unsigned j = 0; j < turns; ++j) {
            const unsigned k = (j + 1) % turns;
            quad(i * turns + j, (i + 1) * turns + j, (i + 1) * turns + k, i * turns + k);
        }
    for (unsigned i = 0; i < SIDE; ++i)
        for (unsigned j = 0; j < SIDE; ++j) place(40.0 + scatter(), -12.0 + 0.5 * i, -30.0 + 0.5 * j);
    for (unsigned i = 0; i + 1 < SIDE; ++i)
        for (unsigned j = 0; j + 1 < SIDE; ++j) {
            const unsigned a = rings * turns + i * SIDE + j;
            quad(a, a + SIDE, a + SIDE + 1, a + 1);
        }
    return m;
}

#endif
