/* Joining scans from no start, by a surface with irregular bumps of known shape in both poses, and by
 * features; a saved datum system on a later day. */
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

/* The plane x, y or z (`axis` 0, 1, 2) = `at`, fitted to a square of scattered points. */
static fitw_feature *plane_at(const char *name, size_t axis, double at)
{
    double xyz[3 * 400], normals[3 * 400] = {0};
    uint32_t state = (uint32_t)(axis + 1) * 977u + (uint32_t)(at + 100.0);
    size_t k;
    fitw_mesh mesh = FITW_ZERO;
    fitw_scan *scan = NULL;
    fitw_region *all = NULL;
    fitw_fit *fit = NULL;
    fitw_feature *feature = NULL;
    for (k = 0; k < 400; ++k) {
        xyz[3 * k + axis] = at + scatter(&state);
        xyz[3 * k + (axis + 1) % 3] = 2.0 * ((double)(k / 20) - 9.5);
        xyz[3 * k + (axis + 2) % 3] = 2.0 * ((double)(k % 20) - 9.5);
        normals[3 * k + axis] = 1.0;
    }
    mesh.struct_size = sizeof mesh, mesh.points = xyz, mesh.normals = normals, mesh.point_count = 400;
    OK(fitw_scan_create(ctx, &mesh, &scan));
    OK(fitw_region_all(ctx, scan, &all));
    OK(fitw_fit_region(ctx, text("builtin.plane"), all, NULL, &fit));
    OK(fitw_feature_from_fit(ctx, text(name), fit, all, &feature));
    OK(fitw_fit_release(fit));
    OK(fitw_region_release(all));
    OK(fitw_scan_release(scan));
    return feature;
}

/* Six faces in two poses; then one of them moved by half a millimetre, which the others find out. */
static void by_features(void)
{
    static const fitw_pose from_to = {{0, 1, 0, 0, 0, 1, 1, 0, 0}, {-40, 25, 310}};
    static const char *const names[6] = {"deck", "side", "end", "shelf", "rib", "lug"};
    static const double at[6] = {0, 40, 30, -55, -35, -20};
    static const size_t axes[6] = {2, 0, 1, 2, 1, 1};
    fitw_same_feature same[6];
    fitw_feature *moved = NULL, *to[6], *from[6];
    fitw_pose pose, half = {{1, 0, 0, 0, 1, 0, 0, 0, 1}, {0.5, 0, 0}};
    fitw_join *join = NULL, *none = NULL;
    fitw_join_info info = FITW_ZERO;
    fitw_feature_residual residual = FITW_ZERO;
    size_t k;
    memset(same, 0, sizeof same);
    for (k = 0; k < 6; ++k) {
        to[k] = plane_at(names[k], axes[k], at[k]);
        OK(fitw_feature_move(ctx, to[k], &from_to, &from[k]));
        same[k].to = to[k], same[k].from = from[k], same[k].directed = 1;
    }
    info.struct_size = sizeof info, residual.struct_size = sizeof residual;
    OK(fitw_join_by_features(ctx, same, 6, 0, NULL, &join));
    OK(fitw_join_pose(ctx, join, &pose));
    for (k = 0; k < 9; ++k)
        TRUE_(fabs(pose.rotation[k] - from_to.rotation[3 * (k % 3) + k / 3]) < 1e-9);
    /* The inverse's shift: -transpose x (-40, 25, 310). */
    TRUE_(fabs(pose.translation_mm[0] + 310) < 1e-6 && fabs(pose.translation_mm[1] - 40) < 1e-6 && fabs(pose.translation_mm[2] + 25) < 1e-6);
    OK(fitw_join_describe(ctx, join, &info));
    TRUE_(info.feature_count == 6 && info.freedom_count == 12 && info.chi_square < 1e-6 && info.probability > 0.999);
    OK(fitw_join_release(join));
    /* The lug faces along y, which is x of the joined scan. */
    OK(fitw_feature_move(ctx, from[5], &half, &moved));
    same[5].from = moved;
    OK(fitw_join_by_features(ctx, same, 6, 0, NULL, &join));
    OK(fitw_join_feature(ctx, join, 5, &residual));
    TRUE_(residual.used == 0 && fabs(residual.distance_mm - 0.5) < 0.02 && residual.equation_count == 3);
    TRUE_(residual.name.len == 3 && memcmp(residual.name.ptr, "lug", 3) == 0);
    OK(fitw_join_feature(ctx, join, 0, &residual));
    TRUE_(residual.used == 1 && residual.distance_mm < 0.02);
    IS(FITW_E_ARGUMENT, fitw_join_feature(ctx, join, 6, &residual));
    IS(FITW_E_ARGUMENT, fitw_join_candidate(ctx, join, 0, NULL));
    OK(fitw_join_release(join));
    /* Two faces leave a motion free; a handle of nothing is none. */
    IS(FITW_E_JOIN, fitw_join_by_features(ctx, same, 2, 0, NULL, &none));
    same[1].from = NULL;
    IS(FITW_E_HANDLE, fitw_join_by_features(ctx, same, 6, 0, NULL, &none));
    TRUE_(none == NULL);
    OK(fitw_feature_release(moved));
    for (k = 0; k < 6; ++k) {
        OK(fitw_feature_release(to[k]));
        OK(fitw_feature_release(from[k]));
    }
}

/* Faces of a machine as they were saved, and as a later day's scan shows them; they lie apart. */
#define FACES 8
static const char *const face_names[FACES] = {"deck", "side", "end", "shelf", "rib", "lug", "foot", "cap"};
static const double face_at[FACES] = {0, 40, 30, -55, -35, -20, -45, 47};
static const size_t face_axes[FACES] = {2, 0, 1, 2, 1, 1, 0, 1};

/* The text of a saved datum system: planes known to 1 um. */
static void saved_text(char *out, size_t size)
{
    size_t k, i, used;
    used = (size_t)snprintf(out, size,
        "{\"fitwright_datum\":1,\"length\":\"mm\",\"angle\":\"rad\",\"job\":\"first day\","
        "\"machine_from_scan\":[[1,0,0,0],[0,1,0,0],[0,0,1,0],[0,0,0,1]],"
        "\"datums\":[{\"feature\":\"deck\",\"axis\":\"+z\"},{\"feature\":\"side\",\"axis\":\"+x\"},{\"feature\":\"end\"}],"
        "\"features\":[");
    for (k = 0; k < FACES; ++k) {
        double at[3] = {0, 0, 0}, normal[3] = {0, 0, 0};
        at[face_axes[k]] = face_at[k], normal[face_axes[k]] = 1.0;
        used += (size_t)snprintf(out + used, size - used,
            "%s{\"name\":\"%s\",\"kind\":\"plane\",\"point\":[%g,%g,%g],\"direction\":[%g,%g,%g],"
            "\"middle\":[%g,%g,%g],\"extent\":27,\"covariance\":{\"at\":[%g,%g,%g],\"matrix\":[",
            k == 0 ? "" : ",", face_names[k], at[0], at[1], at[2], normal[0], normal[1], normal[2], at[0], at[1], at[2], at[0], at[1], at[2]);
        for (i = 0; i < 36; ++i) /* the upper triangle by rows: shifts and turns on its diagonal */
            used += (size_t)snprintf(out + used, size - used, "%s%s", i == 0 ? "" : ",",
                i == 0 || i == 8 || i == 15 ? "1e-6" : i == 21 || i == 26 || i == 30 ? "1e-9" : "0");
        used += (size_t)snprintf(out + used, size - used, "]}}");
    }
    used += (size_t)snprintf(out + used, size - used, "]}");
    TRUE_(used < size);
}

/* Squares of SQUARE x SQUARE points, 40 mm wide, one on each face; normals along the axes. */
#define SQUARE 33
static fitw_scan *faces(const fitw_pose *pose)
{
    double *xyz = malloc(FACES * SQUARE * SQUARE * 3 * sizeof *xyz);
    uint32_t *corners = malloc(FACES * SQUARE * SQUARE * 6 * sizeof *corners);
    uint32_t state = 11;
    size_t f, i, j, triangles = 0;
    fitw_mesh view = FITW_ZERO;
    fitw_scan *scan = NULL, *moved = NULL;
    TRUE_(xyz != NULL && corners != NULL);
    for (f = 0; f < FACES; ++f)
        for (i = 0; i < SQUARE; ++i)
            for (j = 0; j < SQUARE; ++j) {
                const uint32_t a = (uint32_t)((f * SQUARE + i) * SQUARE + j), b = a + SQUARE;
                double *p = xyz + 3 * a;
                uint32_t *t = corners + 3 * triangles;
                p[face_axes[f]] = face_at[f] + scatter(&state);
                p[(face_axes[f] + 1) % 3] = 38.0 * ((double)i / (SQUARE - 1) - 0.5);
                p[(face_axes[f] + 2) % 3] = 38.0 * ((double)j / (SQUARE - 1) - 0.5);
                if (i + 1 == SQUARE || j + 1 == SQUARE)
                    continue;
                t[0] = a, t[1] = b, t[2] = b + 1, t[3] = a, t[4] = b + 1, t[5] = a + 1;
                triangles += 2;
            }
    view.struct_size = sizeof view;
    view.points = xyz, view.point_count = FACES * SQUARE * SQUARE;
    view.triangles = corners, view.triangle_count = triangles;
    OK(fitw_scan_create(ctx, &view, &scan));
    OK(fitw_scan_move(ctx, scan, pose, &moved));
    OK(fitw_scan_release(scan));
    free(corners);
    free(xyz);
    return moved;
}

/* The saved system is found in the scanner's new place; then the lug stands half a millimetre off and the rib is hidden. */
static void later_day(void)
{
    static const fitw_pose there = {{0, 0, 1, 1, 0, 0, 0, 1, 0}, {300, -200, 50}};
    static char json[16384];
    fitw_saved_datum *saved = NULL, *none = NULL;
    fitw_saved_datum_info info = FITW_ZERO;
    fitw_saved_feature feature = FITW_ZERO;
    fitw_placed_scan placed = FITW_ZERO;
    fitw_again_options options = FITW_ZERO;
    fitw_found_again found = FITW_ZERO;
    fitw_changes *changes = NULL;
    fitw_changes_info all = FITW_ZERO;
    fitw_change change = FITW_ZERO;
    fitw_covariance covariance = FITW_ZERO;
    fitw_feature *today[FACES];
    const fitw_feature *given[FACES];
    fitw_scan *scan = faces(&there);
    fitw_str s;
    size_t k;
    saved_text(json, sizeof json);
    OK(fitw_saved_datum_parse(ctx, text(json), &saved));
    info.struct_size = sizeof info, feature.struct_size = sizeof feature, found.struct_size = sizeof found;
    all.struct_size = sizeof all, change.struct_size = sizeof change, covariance.struct_size = sizeof covariance;
    OK(fitw_saved_datum_describe(ctx, saved, &info));
    TRUE_(info.feature_count == FACES && info.job.len == 9 && memcmp(info.job.ptr, "first day", 9) == 0);
    OK(fitw_saved_datum_feature(ctx, saved, 5, &feature));
    TRUE_(feature.kind == FITW_KIND_PLANE && feature.name.len == 3 && feature.middle_mm[1] == -20.0 && feature.extent_mm == 27.0);
    IS(FITW_E_ARGUMENT, fitw_saved_datum_feature(ctx, saved, FACES, &feature));

    placed.scan = scan;
    for (k = 0; k < 9; ++k)
        placed.all_from_this.rotation[k] = k % 4 == 0;
    OK(fitw_saved_datum_find(ctx, saved, &placed, 1, 0, NULL, &found));
    TRUE_(found.matched_count == FACES && found.deviation < 3.0);
    /* The way back: the transpose, and -transpose x (300, -200, 50) = (200, -50, -300). */
    for (k = 0; k < 9; ++k)
        TRUE_(fabs(found.machine_from_scan.rotation[k] - there.rotation[3 * (k % 3) + k / 3]) < 1e-4);
    TRUE_(fabs(found.machine_from_scan.translation_mm[0] - 200) < 0.01 && fabs(found.machine_from_scan.translation_mm[1] + 50) < 0.01);
    options.struct_size = sizeof options, options.flags = FITW_AGAIN_START, options.start = found.machine_from_scan;
    options.start.translation_mm[2] += 2.0, options.reach_mm = 5.0;
    OK(fitw_saved_datum_find(ctx, saved, &placed, 1, 0, &options, &found));
    TRUE_(fabs(found.machine_from_scan.translation_mm[2] + 300) < 0.01);
    options.tolerance_mm = -1.0;
    IS(FITW_E_ARGUMENT, fitw_saved_datum_find(ctx, saved, &placed, 1, 0, &options, &found));
    IS(FITW_E_ARGUMENT, fitw_saved_datum_find(ctx, saved, NULL, 0, 0, NULL, &found));

    for (k = 0; k < FACES; ++k)
        given[k] = today[k] = plane_at(face_names[k], face_axes[k], face_at[k] + (k == 5 ? 0.5 : 0.0));
    given[4] = NULL;
    OK(fitw_saved_datum_changes(ctx, saved, given, FACES, 0.0, &changes));
    OK(fitw_changes_describe(ctx, changes, &all));
    TRUE_(all.feature_count == FACES && all.stand_out_count == 1 && all.probability < 1e-6);
    OK(fitw_changes_stand_out(ctx, changes, 0, &s));
    TRUE_(s.len == 3 && memcmp(s.ptr, "lug", 3) == 0);
    for (k = 0; k < FACES; ++k) {
        OK(fitw_changes_feature(ctx, changes, k, &change));
        TRUE_(change.moved == (k == 4 ? FITW_MOVED_NOT_SEEN : k == 5 ? FITW_MOVED_YES : FITW_MOVED_NO));
        if (k == 5)
            TRUE_(fabs(change.shift_mm[1] - 0.5) < 0.01 && change.shift_uncertainty_mm < 0.05 && change.turn_rad < 0.001);
    }
    IS(FITW_E_ARGUMENT, fitw_changes_feature(ctx, changes, FACES, &change));
    IS(FITW_E_ARGUMENT, fitw_changes_note(ctx, changes, (size_t)all.note_count, &s));
    OK(fitw_changes_covariance(ctx, changes, NULL, &covariance));
    TRUE_(covariance.matrix[0] > 0.0 && covariance.matrix[0] < 1e-3);
    OK(fitw_changes_release(changes));
    IS(FITW_E_ARGUMENT, fitw_saved_datum_changes(ctx, saved, given, FACES - 1, 0.0, &changes));
    OK(fitw_saved_datum_release(saved));
    IS(FITW_E_FORMAT, fitw_saved_datum_parse(ctx, text("{\"fitwright_datum\": 2}"), &none));
    IS(FITW_E_IO, fitw_saved_datum_read(ctx, text("no such folder/datum.json"), &none));
    TRUE_(none == NULL);
    for (k = 0; k < FACES; ++k)
        OK(fitw_feature_release(today[k]));
    OK(fitw_scan_release(scan));
}

/* Two sheets side by side that overlap by two thirds, the second raised by 0.2 mm: one of them is kept where both
 * are, and the seam stands up by what was raised. */
static void as_one(void)
{
    static const fitw_pose here = {{1, 0, 0, 0, 1, 0, 0, 0, 1}, {0, 0, 0}}, up = {{1, 0, 0, 0, 1, 0, 0, 0, 1}, {0, 0, 0.2}};
    fitw_scan *first = sheet(0, BUMPY * 5 / 6, 0.0, &here), *second = sheet(BUMPY / 6, BUMPY, 0.0, &here), *both = NULL;
    fitw_placed_scan placed[2];
    fitw_merge_options options = FITW_ZERO;
    fitw_merged_info info = FITW_ZERO;
    fitw_seam seam = FITW_ZERO;
    fitw_merged *merged = NULL, *none = NULL;
    const uint32_t *of_points, *of_triangles;
    const double *kept;
    size_t count, triangles, scans, k, points[2] = {0, 0};
    memset(placed, 0, sizeof placed);
    placed[0].scan = first, placed[0].all_from_this = here;
    placed[1].scan = second, placed[1].all_from_this = up;
    OK(fitw_merged_create(ctx, placed, 2, 0, NULL, &merged));
    info.struct_size = sizeof info, seam.struct_size = sizeof seam;
    OK(fitw_merged_describe(ctx, merged, &info));
    OK(fitw_merged_point_scans_view(ctx, merged, &of_points, &count));
    OK(fitw_merged_triangle_scans_view(ctx, merged, &of_triangles, &triangles));
    OK(fitw_merged_kept_view(ctx, merged, &kept, &scans));
    TRUE_(count == info.point_count && triangles == info.triangle_count && scans == 2);
    for (k = 0; k < count; ++k) {
        TRUE_(of_points[k] < 2);
        ++points[of_points[k]];
    }
    TRUE_(points[0] > 0 && points[1] > 0);
    /* The whole is BUMPY x BUMPY squares of two triangles, less or more a row where they meet. */
    TRUE_(fabs((double)triangles / (2.0 * (BUMPY - 1) * (BUMPY - 1)) - 1.0) < 0.06);
    TRUE_(fabs(kept[0] + kept[1] - 1.2) < 0.06);
    TRUE_(info.seam_count == 1);
    OK(fitw_merged_seam(ctx, merged, 0, &seam));
    TRUE_(seam.a == 0 && seam.b == 1 && fabs(fabs(seam.mean_mm) - 0.2) < 0.02 && seam.exceeds == 1);
    /* Right across, straight or not: both know the middle about as well. */
    TRUE_(seam.length_mm > 90.0 && seam.length_mm < 200.0 && seam.uncertainty_mm < 0.05);
    IS(FITW_E_ARGUMENT, fitw_merged_seam(ctx, merged, 1, &seam));
    OK(fitw_merged_scan(ctx, merged, &both));
    OK(fitw_scan_release(both));
    OK(fitw_merged_release(merged));
    IS(FITW_E_ARGUMENT, fitw_merged_create(ctx, placed, 1, 0, NULL, &none));
    options.struct_size = sizeof options, options.margin = 0.5;
    IS(FITW_E_ARGUMENT, fitw_merged_create(ctx, placed, 2, 0, &options, &none));
    placed[1].scan = NULL;
    IS(FITW_E_HANDLE, fitw_merged_create(ctx, placed, 2, 0, NULL, &none));
    TRUE_(none == NULL);
    OK(fitw_scan_release(first));
    OK(fitw_scan_release(second));
}

/* Three bumpy strips of one sheet, each against the next: two of them off at the start, and put back together. */
static void adjusted(void)
{
    static const fitw_pose here = {{1, 0, 0, 0, 1, 0, 0, 0, 1}, {0, 0, 0}};
    fitw_pose pose, off = here;
    fitw_started_scan scans[3];
    fitw_scan *strips[3];
    fitw_adjust_options options = FITW_ZERO;
    fitw_adjustment_info info = FITW_ZERO;
    fitw_adjusted_pair pair = FITW_ZERO;
    fitw_covariance covariance = FITW_ZERO;
    fitw_scan_pair apart = FITW_ZERO;
    fitw_observed_join observed = FITW_ZERO;
    fitw_adjustment *adjustment = NULL, *none = NULL;
    fitw_str note;
    size_t k, i;
    memset(scans, 0, sizeof scans);
    for (k = 0; k < 3; ++k) {
        strips[k] = sheet(k * BUMPY / 4, (k + 2) * BUMPY / 4, 1.0, &here);
        scans[k].scan = strips[k];
        scans[k].common_from_scan = off;
        off.translation_mm[0] += 0.4, off.translation_mm[2] -= 0.3;
    }
    OK(fitw_adjustment_create(ctx, scans, 3, 0, NULL, &adjustment));
    info.struct_size = sizeof info, pair.struct_size = sizeof pair, covariance.struct_size = sizeof covariance;
    OK(fitw_adjustment_describe(ctx, adjustment, &info));
    TRUE_(info.converged == 1 && info.scan_count == 3 && info.pair_count >= 2);
    for (k = 0; k < 3; ++k) {
        OK(fitw_adjustment_pose(ctx, adjustment, k, &pose));
        for (i = 0; i < 3; ++i)
            TRUE_(fabs(pose.translation_mm[i]) < 0.05);
    }
    OK(fitw_adjustment_covariance(ctx, adjustment, 0, NULL, &covariance));
    TRUE_(covariance.matrix[0] == 0.0);
    OK(fitw_adjustment_covariance(ctx, adjustment, 2, NULL, &covariance));
    TRUE_(covariance.matrix[0] > 0.0 && covariance.matrix[0] < 0.01);
    for (k = 0; k < info.pair_count; ++k) {
        OK(fitw_adjustment_pair(ctx, adjustment, k, &pair));
        TRUE_(pair.to < 3 && pair.from < 3 && pair.rms_mm < pair.rms_before_mm && pair.rms_mm < 0.05 && pair.overlap > 0.2);
    }
    IS(FITW_E_ARGUMENT, fitw_adjustment_pair(ctx, adjustment, k, &pair));
    IS(FITW_E_ARGUMENT, fitw_adjustment_pose(ctx, adjustment, 3, &pose));
    IS(FITW_E_ARGUMENT, fitw_adjustment_note(ctx, adjustment, (size_t)info.note_count, &note));
    OK(fitw_adjustment_release(adjustment));
    /* The first and the last hardly meet; a join that is none; a scan that is not there. */
    options.struct_size = sizeof options, apart.to = 0, apart.from = 2;
    options.pairs = &apart, options.pair_count = 1;
    IS(FITW_E_JOIN, fitw_adjustment_create(ctx, scans, 3, 0, &options, &none));
    options.pairs = NULL, options.pair_count = 0, options.observed = &observed, options.observed_count = 1;
    IS(FITW_E_HANDLE, fitw_adjustment_create(ctx, scans, 3, 0, &options, &none));
    options.observed_count = 0, options.held = 3;
    IS(FITW_E_ARGUMENT, fitw_adjustment_create(ctx, scans, 3, 0, &options, &none));
    TRUE_(none == NULL);
    for (k = 0; k < 3; ++k)
        OK(fitw_scan_release(strips[k]));
}

int main(void)
{
    OK(fitw_context_create(NULL, &ctx));
    from_an_unknown_start();
    by_features();
    later_day();
    as_one();
    adjusted();
    OK(fitw_context_release(ctx));
    puts("joins: ok");
    return 0;
}
