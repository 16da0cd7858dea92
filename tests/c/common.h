/* What the C tests share: checks that say what failed, and a made-up machine as a mesh. */
#ifndef COMMON_H
#define COMMON_H

#include <fitwright.h>
#include <math.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static fitw_context *ctx;

/* Ends the program with place and the context's last error. */
static inline void failed(const char *file, int line, const char *what, long got)
{
    char message[512] = "", place[256] = "";
    if (ctx != NULL) {
        fitw_context_error_message(ctx, message, sizeof message, NULL);
        fitw_context_error_place(ctx, place, sizeof place, NULL);
    }
    fprintf(stderr, "%s:%d: %s: %ld\n  %s\n  %s\n", file, line, what, got, place, message);
    exit(1);
}

#define TRUE_(condition)                                                                                      \
    do {                                                                                                      \
        if (!(condition))                                                                                     \
            failed(__FILE__, __LINE__, #condition, 0);                                                        \
    } while (0)

#define IS(expected, call)                                                                                    \
    do {                                                                                                      \
        fitw_status status_ = (call);                                                                         \
        if (status_ != (expected))                                                                            \
            failed(__FILE__, __LINE__, #call " is not " #expected ", but", (long)status_);                    \
    } while (0)

#define OK(call) IS(FITW_OK, call)

static inline fitw_str text(const char *nul_terminated)
{
    fitw_str s;
    s.ptr = nul_terminated;
    s.len = FITW_NUL;
    return s;
}

/* A round deck in z = 0 of radius 30 with a hole of radius 8 along -z to z = -12, and beside it, apart, a
 * flat side in x = 40. Scatter is even over 0.02 mm, the same in every run. */
typedef struct machine {
    double *points;
    uint32_t *triangles;
    size_t point_count, triangle_count;
} machine;

#define DECK_RINGS 45
#define WALL_RINGS 24
#ifndef ROUND /* fewer under a memory checker */
#define ROUND 180
#endif
#define SIDE 50
#define HOLE_RADIUS 8.0

static inline double scatter(uint32_t *state)
{
    *state = *state * 1664525u + 1013904223u;
    return ((double)(*state >> 8) / 16777216.0 - 0.5) * 0.02;
}

static inline void quad(machine *m, size_t a, size_t b, size_t c, size_t d)
{
    uint32_t *t = m->triangles + 3 * m->triangle_count;
    t[0] = (uint32_t)a, t[1] = (uint32_t)b, t[2] = (uint32_t)c;
    t[3] = (uint32_t)a, t[4] = (uint32_t)c, t[5] = (uint32_t)d;
    m->triangle_count += 2;
}

static inline machine make_machine(void)
{
    const double pi = 3.14159265358979323846;
    const size_t rings = WALL_RINGS + DECK_RINGS + 1;
    machine m;
    uint32_t state = 1;
    size_t i, j;
    m.point_count = rings * ROUND + SIDE * SIDE;
    m.points = malloc(m.point_count * 3 * sizeof *m.points);
    m.triangles = malloc(2 * 3 * m.point_count * sizeof *m.triangles);
    m.triangle_count = 0;
    TRUE_(m.points != NULL && m.triangles != NULL);
    for (i = 0; i < rings; ++i) {
        for (j = 0; j < ROUND; ++j) {
            double *p = m.points + 3 * (i * ROUND + j);
            double turn = 2.0 * pi * (double)j / ROUND;
            double out = i <= WALL_RINGS ? 0.0 : (double)(i - WALL_RINGS) * 22.0 / DECK_RINGS;
            double down = i <= WALL_RINGS ? (double)(WALL_RINGS - i) * 0.5 : 0.0;
            double off = scatter(&state);
            double radius = HOLE_RADIUS + out + (i < WALL_RINGS ? off : 0.0);
            p[0] = radius * cos(turn), p[1] = radius * sin(turn);
            p[2] = -down + (i > WALL_RINGS ? off : 0.0);
        }
    }
    for (i = 0; i + 1 < rings; ++i)
        for (j = 0; j < ROUND; ++j) {
            size_t k = (j + 1) % ROUND;
            quad(&m, i * ROUND + j, (i + 1) * ROUND + j, (i + 1) * ROUND + k, i * ROUND + k);
        }
    for (i = 0; i < SIDE; ++i)
        for (j = 0; j < SIDE; ++j) {
            double *p = m.points + 3 * (rings * ROUND + i * SIDE + j);
            p[0] = 40.0 + scatter(&state), p[1] = -12.0 + 0.5 * (double)i, p[2] = -30.0 + 0.5 * (double)j;
        }
    for (i = 0; i + 1 < SIDE; ++i)
        for (j = 0; j + 1 < SIDE; ++j) {
            size_t a = rings * ROUND + i * SIDE + j;
            quad(&m, a, a + SIDE, a + SIDE + 1, a + 1);
        }
    return m;
}

static inline void free_machine(machine *m)
{
    free(m->points);
    free(m->triangles);
}

static inline fitw_mesh mesh_of(const machine *m)
{
    fitw_mesh mesh = FITW_ZERO;
    mesh.struct_size = sizeof mesh;
    mesh.points = m->points;
    mesh.point_count = m->point_count;
    mesh.triangles = m->triangles;
    mesh.triangle_count = m->triangle_count;
    return mesh;
}

#endif
