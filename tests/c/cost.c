/* What calls cost, and that a borrowed mesh of a million triangles is not copied. Prints
 * "borrowed-bytes N copied-bytes N" (growth of the resident memory), and a line "name nanoseconds" for calls. */
#define _POSIX_C_SOURCE 200809L
#include "common.h"
#include <time.h>
#include <unistd.h>

static double seconds(void)
{
    struct timespec t;
    TRUE_(clock_gettime(CLOCK_MONOTONIC, &t) == 0);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

static double resident(void)
{
    long pages = 0, rest = 0;
    FILE *f = fopen("/proc/self/statm", "r");
    TRUE_(f != NULL && fscanf(f, "%ld %ld", &rest, &pages) == 2);
    fclose(f);
    return (double)pages * (double)sysconf(_SC_PAGESIZE);
}

#define GRID 708 /* 2 (GRID - 1)^2 = 999,698 triangles */
#define CALLS 100000
#define ROUNDS 9

/* Time of one call in the best of the rounds: what else the machine does only adds. */
#define TIME(name, call)                                                                                      \
    do {                                                                                                      \
        double best = 1e9;                                                                                    \
        int round_, i_;                                                                                       \
        for (round_ = 0; round_ < ROUNDS; ++round_) {                                                         \
            double start = seconds();                                                                         \
            for (i_ = 0; i_ < CALLS; ++i_)                                                                    \
                OK(call);                                                                                     \
            start = (seconds() - start) / CALLS;                                                              \
            best = start < best ? start : best;                                                               \
        }                                                                                                     \
        printf("%s %.1f\n", name, best * 1e9);                                                                \
    } while (0)

/* Getters, a lookup by name, and two calls that do a little work; benches/c_calls.rs does the same in Rust. */
static void calls(const fitw_scan *scan)
{
    const double middle[3] = {353.0, 353.0, 0.0}, place[3] = {100.2, 200.3, 0.1};
    const double *view;
    fitw_region *region = NULL;
    fitw_fit *fit = NULL;
    fitw_scan_info info = FITW_ZERO;
    fitw_shape shape = FITW_ZERO;
    fitw_quality quality = FITW_ZERO;
    fitw_parameter parameter = FITW_ZERO;
    const fitw_str normal = {"normal", 6};
    double distance;
    uint32_t id;
    size_t count;
    info.struct_size = sizeof info, shape.struct_size = sizeof shape;
    quality.struct_size = sizeof quality, parameter.struct_size = sizeof parameter;
    OK(fitw_region_in_sphere(ctx, scan, middle, 20.0, &region));
    OK(fitw_fit_region(ctx, text("builtin.plane"), region, NULL, &fit));
    OK(fitw_fit_shape(ctx, fit, &shape));
    TIME("fitw_scan_describe", fitw_scan_describe(ctx, scan, &info));
    TIME("fitw_scan_points_view", fitw_scan_points_view(ctx, scan, &view, &count));
    TIME("fitw_fit_shape", fitw_fit_shape(ctx, fit, &shape));
    TIME("fitw_fit_quality", fitw_fit_quality(ctx, fit, &quality));
    TIME("fitw_fit_parameter_named", fitw_fit_parameter_named(ctx, fit, normal, &parameter));
    TIME("fitw_shape_distances", fitw_shape_distances(ctx, &shape, place, 1, 0, &distance));
    TIME("fitw_scan_nearest", fitw_scan_nearest(ctx, scan, place, &id, &distance));
    OK(fitw_fit_release(fit));
    OK(fitw_region_release(region));
}

int main(void)
{
    const size_t points = (size_t)GRID * GRID;
    double *xyz = malloc(points * 24), before, grown[2];
    uint32_t *t = malloc(2 * points * 12);
    fitw_mesh mesh = FITW_ZERO;
    fitw_scan *scan = NULL;
    size_t i, j, n = 0;
    int round;
    TRUE_(xyz != NULL && t != NULL);
    for (i = 0; i < points; ++i)
        xyz[3 * i] = (double)(i % GRID), xyz[3 * i + 1] = (double)(i / GRID), xyz[3 * i + 2] = 0.0;
    for (i = 0; i + 1 < GRID; ++i)
        for (j = 0; j + 1 < GRID; ++j) {
            uint32_t a = (uint32_t)(i * GRID + j);
            uint32_t q[6] = {a, a + 1, a + GRID + 1, a, a + GRID + 1, a + GRID};
            memcpy(t + n, q, sizeof q);
            n += 6;
        }
    mesh.struct_size = sizeof mesh;
    mesh.points = xyz, mesh.point_count = points, mesh.triangles = t, mesh.triangle_count = n / 3;
    OK(fitw_context_create(NULL, &ctx));
    for (round = 0; round < 2; ++round) {
        mesh.flags = round == 0 ? FITW_MESH_BORROW : 0;
        before = resident();
        OK(fitw_scan_create(ctx, &mesh, &scan));
        grown[round] = resident() - before;
        if (round == 0)
            OK(fitw_scan_release(scan));
    }
    printf("triangles %lu borrowed-bytes %.0f copied-bytes %.0f\n", (unsigned long)mesh.triangle_count, grown[0],
           grown[1]);
    calls(scan);
    OK(fitw_scan_release(scan));
    OK(fitw_context_release(ctx));
    free(t);
    free(xyz);
    return 0;
}
