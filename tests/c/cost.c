/* What a call costs, and that a borrowed mesh of a million triangles is not copied. Prints
 * "nanoseconds-per-call N" and "borrowed-bytes N copied-bytes N" (growth of the resident memory). */
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

int main(void)
{
    const size_t points = (size_t)GRID * GRID, calls = 200000;
    double *xyz = malloc(points * 24), best = 1e9, before, grown[2];
    uint32_t *t = malloc(2 * points * 12);
    fitw_mesh mesh = FITW_ZERO;
    fitw_scan_info info = FITW_ZERO;
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
    info.struct_size = sizeof info;
    OK(fitw_context_create(NULL, &ctx));
    for (round = 0; round < 2; ++round) {
        mesh.flags = round == 0 ? FITW_MESH_BORROW : 0;
        before = resident();
        OK(fitw_scan_create(ctx, &mesh, &scan));
        grown[round] = resident() - before;
        if (round == 0)
            OK(fitw_scan_release(scan));
    }
    for (round = 0; round < 5; ++round) {
        double start = seconds();
        for (i = 0; i < calls; ++i)
            OK(fitw_scan_describe(ctx, scan, &info));
        start = (seconds() - start) / (double)calls;
        best = start < best ? start : best;
    }
    printf("nanoseconds-per-call %.0f\n", best * 1e9);
    printf("triangles %lu borrowed-bytes %.0f copied-bytes %.0f\n", (unsigned long)mesh.triangle_count, grown[0],
           grown[1]);
    OK(fitw_scan_release(scan));
    OK(fitw_context_release(ctx));
    free(t);
    free(xyz);
    return 0;
}
