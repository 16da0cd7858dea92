/* Joining scans from no start: a surface with irregular bumps, whose every point is known in both poses. */
#include "common.h"

#ifndef BUMPY /* fewer under a memory checker */
#define BUMPY 90
#endif

/* A sheet of BUMPY x BUMPY points, 100 mm wide, over columns `from` to `to`; flat if `height` is 0. */
static fitw_scan *sheet(size_t from, size_t to, double height, const fitw_pose *pose)
{
    static const double bumps[][4] = { /* x, y, width, height */
        {-34, -28, 7, 9},  {-12, -35, 5, 6},  {19, -30, 9, 8},   {38, -12, 6, 10}, {-40, 3, 8, 7},
        {-15, -8, 10, 12}, {8, 4, 5, 8},      {26, 15, 8, 6},    {-27, 26, 6, 11}, {-4, 33, 9, 7},
        {22, 38, 5, 9},    {41, 33, 7, 8},    {2, -17, 4, 5},    {-22, 9, 4, 6},   {33, 2, 4, 5},
    };
    const size_t columns = to - from;
    double *xyz = malloc(columns * BUMPY * 3 * sizeof *xyz);
    uint32_t *corners = malloc(columns * BUMPY * 6 * sizeof *corners);
    uint32_t state = (uint32_t)from + 1;
    size_t i, j, k, triangles = 0;
    fitw_mesh view = FITW_ZERO;
    fitw_scan *scan = NULL, *moved = NULL;
    TRUE_(xyz != NULL && corners != NULL);
    for (i = 0; i < columns; ++i)
        for (j = 0; j < BUMPY; ++j) {
            double *p = xyz + 3 * (i * BUMPY + j);
            p[0] = ((double)(from + i) / (BUMPY - 1) - 0.5) * 100.0;
            p[1] = ((double)j / (BUMPY - 1) - 0.5) * 100.0;
            p[2] = scatter(&state);
            for (k = 0; k < sizeof bumps / sizeof *bumps; ++k) {
                const double x = (p[0] - bumps[k][0]) / bumps[k][2], y = (p[1] - bumps[k][1]) / bumps[k][2];
                p[2] += height * bumps[k][3] * exp(-(x * x + y * y));
            }
        }
    for (i = 0; i + 1 < columns; ++i)
        for (j = 0; j + 1 < BUMPY; ++j) {
            const uint32_t a = (uint32_t)(i * BUMPY + j), b = a + BUMPY;
            uint32_t *t = corners + 3 * triangles;
            t[0] = a, t[1] = b, t[2] = b + 1, t[3] = a, t[4] = b + 1, t[5] = a + 1;
            triangles += 2;
        }
    view.struct_size = sizeof view;
    view.points = xyz, view.point_count = columns * BUMPY;
    view.triangles = corners, view.triangle_count = triangles;
    view.unit = FITW_UNIT_MM;
    OK(fitw_scan_create(ctx, &view, &scan));
    OK(fitw_scan_move(ctx, scan, pose, &moved));
    OK(fitw_scan_release(scan));
    free(corners);
    free(xyz);
    return moved;
}

static void from_an_unknown_start(void)
{
    /* Two thirds in common; the second half a turn about (1, 1, 1) and far off: x goes to y, y to z, z to x. */
    static const fitw_pose here = {{1, 0, 0, 0, 1, 0, 0, 0, 1}, {0, 0, 0}};
    static const fitw_pose there = {{0, 0, 1, 1, 0, 0, 0, 1, 0}, {300, -200, 50}};
    fitw_scan *to = sheet(0, BUMPY * 5 / 6, 1.0, &here), *from = sheet(BUMPY / 6, BUMPY, 1.0, &there);
    fitw_scan *flat = sheet(0, BUMPY, 0.0, &there);
    fitw_join_options options = FITW_ZERO;
    fitw_join_info info = FITW_ZERO;
    fitw_candidate_pose best = FITW_ZERO;
    fitw_join *join = NULL, *none = NULL;
    fitw_pose pose;
    double whole = 0.0;
    char message[2048];
    size_t k;
    options.struct_size = sizeof options;
    options.candidates = 3;
    OK(fitw_join_from_unknown_start(ctx, to, from, &options, &join));
    OK(fitw_join_pose(ctx, join, &pose));
    /* The way back: the transpose, and -transpose x (300, -200, 50) = (200, -50, -300). */
    for (k = 0; k < 9; ++k)
        TRUE_(fabs(pose.rotation[k] - there.rotation[3 * (k % 3) + k / 3]) < 1e-3);
    TRUE_(fabs(pose.translation_mm[0] - 200) < 0.3 && fabs(pose.translation_mm[1] + 50) < 0.3 && fabs(pose.translation_mm[2] + 300) < 0.3);
    info.struct_size = sizeof info, best.struct_size = sizeof best;
    OK(fitw_join_describe(ctx, join, &info));
    TRUE_(info.converged == 1 && info.rms_mm < 0.05 && fabs(info.overlap - 0.8) < 0.1);
    TRUE_(info.candidate_count >= 1 && info.candidate_count <= 3 && info.pair_count == 0);
    for (k = 0; k < info.candidate_count; ++k) {
        const double before = best.evidence;
        OK(fitw_join_candidate(ctx, join, k, &best));
        TRUE_(k == 0 || best.evidence <= before);
        whole += best.probability;
        if (k == 0)
            TRUE_(fabs(best.to_from_this.translation_mm[0] - 200) < 5 && best.matched > best.against);
    }
    TRUE_(whole > 0.0 && whole < 1.0 + 1e-9);
    IS(FITW_E_ARGUMENT, fitw_join_candidate(ctx, join, k, &best));
    OK(fitw_join_release(join));
    /* Nothing holds a sheet without bumps; it must not be laid anywhere. */
    IS(FITW_E_JOIN, fitw_join_from_unknown_start(ctx, to, flat, NULL, &none));
    OK(fitw_context_error_message(ctx, message, sizeof message, NULL));
    TRUE_(none == NULL && strstr(message, "no pose is certain") != NULL);
    options.least_overlap = 1.5;
    IS(FITW_E_ARGUMENT, fitw_join_from_unknown_start(ctx, to, from, &options, &none));
    options.least_overlap = 0.0, options.flags = 1;
    IS(FITW_E_ARGUMENT, fitw_join_from_unknown_start(ctx, to, from, &options, &none));
    IS(FITW_E_HANDLE, fitw_join_from_unknown_start(ctx, to, NULL, NULL, &none));
    OK(fitw_scan_release(flat));
    OK(fitw_scan_release(from));
    OK(fitw_scan_release(to));
}

int main(void)
{
    OK(fitw_context_create(NULL, &ctx));
    from_an_unknown_start();
    OK(fitw_context_release(ctx));
    puts("joins: ok");
    return 0;
}
