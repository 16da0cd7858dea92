/* Everything the interface can do, on a made-up machine whose answers are known. */
#include "common.h"

static const double ON_DECK[3] = {20.0, 0.0, 0.1};
static const double ON_SIDE[3] = {40.0, 0.0, -15.0};
static const double IN_HOLE[3] = {7.9, 0.0, -3.0};

static int near_to(double a, double b, double within) { return fabs(a - b) <= within; }

static void versions(void)
{
    fitw_str s;
    int32_t known = -1;
    TRUE_(fitw_abi_version() == ((uint32_t)FITW_ABI_MAJOR << 16 | FITW_ABI_MINOR));
    OK(fitw_version_text(&s));
    TRUE_(s.len > 0 && strlen(s.ptr) == s.len);
    OK(fitw_build_text(&s));
    TRUE_(strstr(s.ptr, "fitwright") != NULL && strlen(s.ptr) == s.len);
    OK(fitw_feature_known(text("borrowed-scan"), &known));
    TRUE_(known == 1);
    OK(fitw_feature_known(text("no such thing"), &known));
    TRUE_(known == 0);
    OK(fitw_status_name(FITW_E_DATUM, &s));
    TRUE_(strcmp(s.ptr, "FITW_E_DATUM") == 0);
}

static void released(void *user) { ++*(int *)user; }

static fitw_scan *scans(const machine *m)
{
    fitw_mesh mesh = mesh_of(m);
    fitw_scan *scan = NULL, *borrowed = NULL, *moved = NULL, *single = NULL;
    fitw_scan_info info = FITW_ZERO;
    fitw_pose quarter = {{0, -1, 0, 1, 0, 0, 0, 0, 1}, {1, 2, 3}};
    const double *xyz, *normals;
    const uint32_t *corners;
    double noise, resolution, distance;
    size_t count, i;
    uint32_t id;
    int releases = 0;
    float *floats;

    OK(fitw_scan_create(ctx, &mesh, &scan));
    info.struct_size = sizeof info;
    OK(fitw_scan_describe(ctx, scan, &info));
    TRUE_(info.point_count == m->point_count && info.triangle_count == m->triangle_count);
    TRUE_(info.borrows == 0 && info.note_count == 0);
    OK(fitw_scan_points_view(ctx, scan, &xyz, &count));
    TRUE_(count == m->point_count && xyz != m->points);
    TRUE_(memcmp(xyz, m->points, count * 3 * sizeof *xyz) == 0);
    OK(fitw_scan_triangles_view(ctx, scan, &corners, &count));
    TRUE_(count == m->triangle_count && memcmp(corners, m->triangles, count * 12) == 0);
    OK(fitw_scan_normals_view(ctx, scan, &normals, &count));
    i = ROUND * (WALL_RINGS + 20);
    TRUE_(count == m->point_count && normals[3 * i + 2] > 0.99);
    OK(fitw_scan_noise(ctx, scan, &noise));
    OK(fitw_scan_resolution(ctx, scan, &resolution));
    /* Even scatter over 0.02 mm has a standard deviation of 0.02 / sqrt(12). */
    TRUE_(near_to(noise, 0.02 / sqrt(12.0), 0.003) && resolution > 0.2 && resolution < 1.2);
    OK(fitw_scan_nearest(ctx, scan, ON_DECK, &id, &distance));
    TRUE_(id < m->point_count && distance < 1.0);

    mesh.flags = FITW_MESH_BORROW;
    mesh.release = released;
    mesh.release_user = &releases;
    OK(fitw_scan_create(ctx, &mesh, &borrowed));
    OK(fitw_scan_describe(ctx, borrowed, &info));
    TRUE_(info.borrows == (FITW_SCAN_BORROWS_POINTS | FITW_SCAN_BORROWS_TRIANGLES));
    OK(fitw_scan_points_view(ctx, borrowed, &xyz, &count));
    TRUE_(xyz == m->points);
    OK(fitw_scan_move(ctx, borrowed, &quarter, &moved));
    OK(fitw_scan_points_view(ctx, moved, &xyz, &count));
    TRUE_(near_to(xyz[0], 1.0 - m->points[1], 1e-12) && near_to(xyz[1], m->points[0] + 2.0, 1e-12));
    /* The moved copy shares the triangles: the memory is still in use. */
    OK(fitw_scan_release(borrowed));
    TRUE_(releases == 0);
    OK(fitw_scan_release(moved));
    TRUE_(releases == 1);

    /* Floats with a stride are copied, so nothing is borrowed but the triangles. */
    floats = malloc(m->point_count * 5 * sizeof *floats);
    TRUE_(floats != NULL);
    for (i = 0; i < m->point_count * 5; ++i)
        floats[i] = i % 5 < 3 ? (float)(m->points[3 * (i / 5) + i % 5] / 10.0) : NAN;
    mesh.points = floats;
    mesh.point_stride = 5 * sizeof *floats;
    mesh.point_scalar = FITW_SCALAR_F32;
    mesh.unit = FITW_UNIT_CM;
    OK(fitw_scan_create(ctx, &mesh, &single));
    free(floats);
    OK(fitw_scan_describe(ctx, single, &info));
    TRUE_(info.borrows == FITW_SCAN_BORROWS_TRIANGLES);
    OK(fitw_scan_points_view(ctx, single, &xyz, &count));
    TRUE_(near_to(xyz[3], m->points[3], 1e-5));
    OK(fitw_scan_release(single));
    TRUE_(releases == 2);

    /* Not given back when the call fails. */
    mesh = mesh_of(m);
    mesh.flags = FITW_MESH_BORROW;
    mesh.release = released;
    mesh.release_user = &releases;
    mesh.point_count = 100;
    single = NULL;
    IS(FITW_E_ARGUMENT, fitw_scan_create(ctx, &mesh, &single));
    TRUE_(releases == 2 && single == NULL);
    return scan;
}

static fitw_region *grow(fitw_scan *scan, const double *pick, int32_t kind, double trim)
{
    fitw_grow_options options = FITW_ZERO;
    fitw_region *region = NULL;
    options.struct_size = sizeof options;
    options.trim_mm = trim;
    OK(fitw_region_grow(ctx, scan, pick, kind, &options, &region));
    return region;
}

static size_t size_of_region(fitw_region *region)
{
    const uint32_t *ids;
    size_t count;
    OK(fitw_region_ids_view(ctx, region, &ids, &count));
    return count;
}

static void regions(fitw_scan *scan, const machine *m)
{
    fitw_region *whole, *grown, *trimmed, *all, *some, *box, *ball, *near_plane;
    fitw_shape plane = FITW_ZERO;
    const double low[3] = {39, -20, -40}, high[3] = {41, 20, 1}, centre[3] = {0, 0, 0};
    const uint32_t numbers[4] = {7, 3, 7, 5};
    const uint32_t *ids;
    double used, distance;
    size_t count;

    whole = grow(scan, ON_DECK, FITW_KIND_PLANE, -1.0);
    grown = grow(scan, ON_DECK, FITW_KIND_PLANE, 0.0);
    TRUE_(size_of_region(whole) > size_of_region(grown) && size_of_region(whole) >= (DECK_RINGS - 1) * ROUND);
    OK(fitw_region_trim(ctx, whole, 2.0, &trimmed, &used));
    TRUE_(used == 2.0 && size_of_region(trimmed) < size_of_region(whole));
    OK(fitw_region_all(ctx, scan, &all));
    TRUE_(size_of_region(all) == m->point_count);
    OK(fitw_region_from_ids(ctx, scan, numbers, 4, &some));
    OK(fitw_region_ids_view(ctx, some, &ids, &count));
    TRUE_(count == 3 && ids[0] == 3 && ids[1] == 5 && ids[2] == 7);
    OK(fitw_region_in_box(ctx, scan, NULL, low, high, &box));
    TRUE_(size_of_region(box) == SIDE * SIDE);
    OK(fitw_region_in_sphere(ctx, scan, centre, 8.5, &ball));
    TRUE_(size_of_region(ball) > ROUND && size_of_region(ball) < m->point_count);
    plane.struct_size = sizeof plane;
    plane.kind = FITW_KIND_PLANE;
    plane.point_mm[0] = 40.0;
    plane.direction[0] = 3.0;
    OK(fitw_region_near_shape(ctx, scan, &plane, 0.1, &near_plane));
    TRUE_(size_of_region(near_plane) == SIDE * SIDE);
    OK(fitw_shape_distances(ctx, &plane, high, 1, 0, &distance));
    TRUE_(near_to(distance, 1.0, 1e-12));
    OK(fitw_region_release(near_plane));
    OK(fitw_region_release(ball));
    OK(fitw_region_release(box));
    OK(fitw_region_release(some));
    OK(fitw_region_release(all));
    OK(fitw_region_release(trimmed));
    OK(fitw_region_release(grown));
    OK(fitw_region_release(whole));
}

static void fitters(fitw_scan *scan)
{
    fitw_fitter_info info = FITW_ZERO;
    fitw_fit_options options = FITW_ZERO;
    fitw_quality quality = FITW_ZERO;
    fitw_covariance covariance = FITW_ZERO;
    fitw_uncertainty uncertainty = FITW_ZERO;
    fitw_constraint_cost cost = FITW_ZERO;
    fitw_parameter parameter = FITW_ZERO;
    fitw_shape shape = FITW_ZERO;
    fitw_points points = FITW_ZERO;
    fitw_region *wall = grow(scan, IN_HOLE, FITW_KIND_CYLINDER, 0.0);
    fitw_fit *fit = NULL, *again = NULL;
    const uint32_t *ids;
    const double *xyz;
    double *copy;
    size_t count, i, of_wall;

    info.struct_size = sizeof info;
    OK(fitw_fitter_count(ctx, &count));
    TRUE_(count >= 7);
    for (i = 0; i < count; ++i) {
        OK(fitw_fitter_describe(ctx, i, &info));
        TRUE_(info.kind >= FITW_KIND_PLANE && info.minimum_points > 0 && strlen(info.title.ptr) > 0);
    }
    IS(FITW_E_ARGUMENT, fitw_fitter_describe(ctx, count, &info));

    options.struct_size = sizeof options;
    options.criterion = FITW_CRITERION_LEAST_SQUARES;
    OK(fitw_fit_region(ctx, text("builtin.cylinder"), wall, &options, &fit));
    shape.struct_size = sizeof shape;
    OK(fitw_fit_shape(ctx, fit, &shape));
    TRUE_(shape.kind == FITW_KIND_CYLINDER && near_to(shape.size_1, HOLE_RADIUS, 0.003));
    TRUE_(near_to(fabs(shape.direction[2]), 1.0, 1e-5));
    quality.struct_size = sizeof quality;
    OK(fitw_fit_quality(ctx, fit, &quality));
    TRUE_(quality.converged == 1 && quality.points > WALL_RINGS * ROUND * 2 / 3 && quality.arc_rad > 6.0);
    TRUE_(near_to(quality.rms_mm, 0.02 / sqrt(12.0), 0.001));
    covariance.struct_size = sizeof covariance;
    OK(fitw_fit_covariance(ctx, fit, NULL, &covariance));
    TRUE_(covariance.matrix[54] > 0.0 && covariance.matrix[1] == covariance.matrix[8]);
    uncertainty.struct_size = sizeof uncertainty;
    OK(fitw_fit_uncertainty(ctx, fit, shape.point_mm, &uncertainty));
    TRUE_(near_to(uncertainty.size_1, 2.0 * sqrt(covariance.matrix[54]), 1e-12));
    TRUE_(uncertainty.position_mm > 0.0 && uncertainty.tilt_rad > 0.0 && uncertainty.size_2 == 0.0);
    OK(fitw_fit_parameter_count(ctx, fit, &count));
    TRUE_(count == 3);
    parameter.struct_size = sizeof parameter;
    OK(fitw_fit_parameter_named(ctx, fit, text("radius"), &parameter));
    TRUE_(parameter.value_kind == FITW_VALUE_NUMBER && parameter.quantity == FITW_QUANTITY_LENGTH);
    TRUE_(parameter.value[0] == shape.size_1);
    OK(fitw_fit_parameter(ctx, fit, 1, &parameter));
    TRUE_(strcmp(parameter.name.ptr, "axis") == 0 && parameter.value[2] == shape.direction[2]);
    IS(FITW_E_UNKNOWN_NAME, fitw_fit_parameter_named(ctx, fit, text("half_angle"), &parameter));
    OK(fitw_fit_rejected_view(ctx, fit, &ids, &count));
    TRUE_(count == quality.rejected);
    OK(fitw_fit_contacts_view(ctx, fit, &ids, &count));
    TRUE_(count == 0);
    cost.struct_size = sizeof cost;
    OK(fitw_fit_constraint_cost(ctx, fit, &cost));
    TRUE_(cost.freedoms == 0);

    /* The same points from the host: the same shape to the bit needs the same normals, pick and noise. */
    OK(fitw_region_ids_view(ctx, wall, &ids, &of_wall));
    OK(fitw_scan_points_view(ctx, scan, &xyz, &count));
    copy = malloc(of_wall * 3 * sizeof *copy);
    TRUE_(copy != NULL);
    for (i = 0; i < of_wall; ++i)
        memcpy(copy + 3 * i, xyz + 3 * ids[i], 3 * sizeof *copy);
    points.struct_size = sizeof points;
    points.points = copy;
    points.count = of_wall;
    OK(fitw_fit_points(ctx, text("builtin.cylinder"), &points, NULL, &again));
    free(copy);
    OK(fitw_fit_shape(ctx, again, &shape));
    TRUE_(near_to(shape.size_1, HOLE_RADIUS, 0.003));
    points.count = 2;
    points.points = xyz;
    {
        fitw_fit *none = NULL;
        IS(FITW_E_TOO_FEW_POINTS, fitw_fit_points(ctx, text("builtin.plane"), &points, NULL, &none));
        IS(FITW_E_UNKNOWN_NAME, fitw_fit_region(ctx, text("builtin.egg"), wall, NULL, &none));
        TRUE_(none == NULL);
    }
    OK(fitw_fit_release(again));
    OK(fitw_fit_release(fit));
    OK(fitw_region_release(wall));
}

static fitw_feature *plane_of(fitw_scan *scan, const char *name, const double *pick, fitw_region **surface)
{
    fitw_region *whole = grow(scan, pick, FITW_KIND_PLANE, -1.0), *inner = NULL;
    fitw_fit *fit = NULL;
    fitw_feature *feature = NULL;
    OK(fitw_region_trim(ctx, whole, 0.0, &inner, NULL));
    OK(fitw_fit_region(ctx, text("builtin.plane"), inner, NULL, &fit));
    OK(fitw_feature_from_fit(ctx, text(name), fit, whole, &feature));
    /* The feature needs neither any more. */
    OK(fitw_fit_release(fit));
    OK(fitw_region_release(inner));
    *surface = whole;
    return feature;
}

static void machine_features(fitw_scan *scan, const char *folder)
{
    fitw_region *on_deck, *on_side, *on_wall = NULL;
    fitw_feature *deck = plane_of(scan, "deck", ON_DECK, &on_deck);
    fitw_feature *side = plane_of(scan, "side", ON_SIDE, &on_side);
    fitw_feature *hole = NULL, *edge = NULL, *corner = NULL, *moved = NULL, *renamed = NULL, *middle = NULL;
    const fitw_feature *all[3];
    fitw_hole_search search = FITW_ZERO;
    fitw_feature_info info = FITW_ZERO;
    fitw_shape shape = FITW_ZERO;
    fitw_piece piece = FITW_ZERO;
    fitw_relation relation = FITW_ZERO;
    fitw_uncertainty uncertainty = FITW_ZERO;
    fitw_quality quality = FITW_ZERO;
    fitw_covariance covariance = FITW_ZERO;
    fitw_parameter parameter = FITW_ZERO;
    fitw_datum_feature datums[3];
    fitw_datum *datum = NULL;
    fitw_datum_info datum_info = FITW_ZERO;
    fitw_squareness squareness = FITW_ZERO;
    fitw_step_options step = FITW_ZERO;
    fitw_text *file = NULL;
    fitw_pose pose;
    fitw_str s;
    const double *xyz;
    size_t count, i;
    char path[512];

    search.struct_size = sizeof search;
    search.name = text("hole");
    search.face = deck;
    search.face_region = on_deck;
    memcpy(search.pick_mm, IN_HOLE, sizeof IN_HOLE);
    OK(fitw_feature_find_hole(ctx, &search, NULL, &hole, &on_wall));
    TRUE_(size_of_region(on_wall) > 1000);
    info.struct_size = sizeof info;
    OK(fitw_feature_describe(ctx, hole, &info));
    TRUE_(info.kind == FITW_KIND_HOLE && strcmp(info.name.ptr, "hole") == 0 && info.piece_count >= 2);
    TRUE_(strcmp(info.fitter.ptr, "builtin.cylinder") == 0 && info.parameter_count == 3);
    shape.struct_size = sizeof shape;
    OK(fitw_feature_shape(ctx, hole, &shape));
    TRUE_(near_to(shape.size_1, HOLE_RADIUS, 0.005));
    for (i = 0; i < info.note_count; ++i)
        OK(fitw_feature_note(ctx, hole, i, &s));
    IS(FITW_E_ARGUMENT, fitw_feature_note(ctx, hole, (size_t)info.note_count, &s));
    uncertainty.struct_size = sizeof uncertainty;
    OK(fitw_feature_uncertainty(ctx, hole, NULL, &uncertainty));
    TRUE_(uncertainty.size_1 > 0.0 && uncertainty.size_1 < 0.01);
    quality.struct_size = sizeof quality;
    OK(fitw_feature_quality(ctx, hole, &quality));
    covariance.struct_size = sizeof covariance;
    OK(fitw_feature_covariance(ctx, hole, ON_DECK, &covariance));
    TRUE_(covariance.about_mm[0] == ON_DECK[0]);
    parameter.struct_size = sizeof parameter;
    OK(fitw_feature_parameter(ctx, hole, 0, &parameter));
    OK(fitw_feature_parameter_named(ctx, hole, text("radius"), &parameter));
    TRUE_(parameter.value[0] == shape.size_1);

    piece.struct_size = sizeof piece;
    OK(fitw_feature_piece(ctx, deck, 0, &piece));
    TRUE_(piece.extent == FITW_EXTENT_OUTLINE && piece.kind == FITW_KIND_PLANE && piece.loop_count == 2);
    OK(fitw_feature_piece_loop_view(ctx, deck, 0, 0, &xyz, &count));
    TRUE_(count > 8 && near_to(hypot(xyz[0], xyz[1]), 30.0, 0.5));
    OK(fitw_feature_piece_loop_view(ctx, deck, 0, 1, &xyz, &count));
    TRUE_(count > 8 && near_to(hypot(xyz[0], xyz[1]), HOLE_RADIUS, 0.6));
    IS(FITW_E_ARGUMENT, fitw_feature_piece_loop_view(ctx, deck, 0, 2, &xyz, &count));
    OK(fitw_feature_piece(ctx, hole, 0, &piece));
    TRUE_(piece.extent == FITW_EXTENT_PATCH && piece.u_to > piece.u_from && piece.v_to > piece.v_from);

    OK(fitw_feature_intersect(ctx, text("edge"), deck, side, &edge));
    OK(fitw_feature_describe(ctx, edge, &info));
    TRUE_(info.kind == FITW_KIND_LINE);
    IS(FITW_E_CONSTRUCTION, fitw_feature_quality(ctx, edge, &quality));
    OK(fitw_feature_intersect(ctx, text("corner"), hole, deck, &corner));
    OK(fitw_feature_shape(ctx, corner, &shape));
    TRUE_(shape.kind == FITW_KIND_SPHERE && near_to(shape.point_mm[0], 0.0, 0.01));
    OK(fitw_feature_midplane(ctx, text("middle"), deck, deck, &middle));
    relation.struct_size = sizeof relation;
    OK(fitw_feature_relation(ctx, deck, side, &relation));
    TRUE_(near_to(relation.angle_rad, 1.5707963, 0.001) && strlen(relation.measure.ptr) == relation.measure.len);

    memset(datums, 0, sizeof datums);
    datums[0].feature = deck, datums[0].axis = text("+z");
    datums[1].feature = side, datums[1].axis = text("+x");
    datums[2].feature = hole, datums[2].sets = text("origin");
    OK(fitw_datum_create(ctx, datums, 3, 0, &datum));
    OK(fitw_datum_pose(ctx, datum, &pose));
    TRUE_(near_to(pose.rotation[0], 1.0, 1e-4) && near_to(pose.translation_mm[0], 0.0, 0.01));
    OK(fitw_datum_covariance(ctx, datum, NULL, &covariance));
    TRUE_(covariance.matrix[0] > 0.0);
    datum_info.struct_size = sizeof datum_info;
    OK(fitw_datum_describe(ctx, datum, &datum_info));
    TRUE_(datum_info.squareness_count == 3 && datum_info.taken_count == 3);
    squareness.struct_size = sizeof squareness;
    OK(fitw_datum_squareness(ctx, datum, 0, &squareness));
    TRUE_(strcmp(squareness.a.ptr, "deck") == 0 && fabs(squareness.deviation_rad) < 0.001);
    OK(fitw_datum_taken(ctx, datum, 0, &s));
    TRUE_(s.len > 0);
    {
        fitw_datum *none = NULL;
        IS(FITW_E_DATUM, fitw_datum_create(ctx, datums, 1, 0, &none));
        IS(FITW_E_DATUM, fitw_datum_create(ctx, datums, 0, 0, &none));
        datums[0].axis = text("up");
        IS(FITW_E_ARGUMENT, fitw_datum_create(ctx, datums, 3, 0, &none));
        TRUE_(none == NULL);
    }

    all[0] = deck, all[1] = side, all[2] = hole;
    step.struct_size = sizeof step;
    step.schema = FITW_STEP_AP214;
    step.title = text("made-up machine");
    OK(fitw_step_text(ctx, &pose, all, 3, &step, &file));
    OK(fitw_text_view(ctx, file, &s));
    TRUE_(strncmp(s.ptr, "ISO-10303-21;", 13) == 0 && strlen(s.ptr) == s.len);
    TRUE_(strstr(s.ptr, "AUTOMOTIVE_DESIGN") != NULL && strstr(s.ptr, "'hole'") != NULL);
    snprintf(path, sizeof path, "%s/features.step", folder);
    OK(fitw_step_write(ctx, text(path), &pose, all, 3, &step));
    {
        FILE *f = fopen(path, "rb");
        char *content = malloc(s.len + 1);
        TRUE_(f != NULL && content != NULL);
        TRUE_(fread(content, 1, s.len + 1, f) == s.len && memcmp(content, s.ptr, s.len) == 0);
        fclose(f);
        free(content);
    }
    all[1] = deck;
    {
        fitw_text *none = NULL;
        IS(FITW_E_DUPLICATE_NAME, fitw_step_text(ctx, NULL, all, 3, NULL, &none));
    }
    OK(fitw_feature_move(ctx, hole, &pose, &moved));
    OK(fitw_feature_rename(ctx, moved, text("another"), &renamed));
    OK(fitw_feature_describe(ctx, renamed, &info));
    TRUE_(strcmp(info.name.ptr, "another") == 0);

    OK(fitw_text_release(file));
    OK(fitw_datum_release(datum));
    OK(fitw_feature_release(renamed));
    OK(fitw_feature_release(moved));
    OK(fitw_feature_release(middle));
    OK(fitw_feature_release(corner));
    OK(fitw_feature_release(edge));
    OK(fitw_feature_release(hole));
    OK(fitw_feature_release(side));
    OK(fitw_feature_release(deck));
    OK(fitw_region_release(on_wall));
    OK(fitw_region_release(on_side));
    OK(fitw_region_release(on_deck));
}

static void joins(fitw_scan *scan)
{
    static const double to[15] = {0, 0, 0, 100, 0, 0, 0, 60, 0, 30, 20, 50, -40, 10, 25};
    double from[15];
    fitw_join *join = NULL, *by_surface = NULL;
    fitw_join_info info = FITW_ZERO;
    fitw_target_pair pair = FITW_ZERO;
    fitw_covariance covariance = FITW_ZERO;
    fitw_scan *moved = NULL;
    fitw_feature *feature, *joined = NULL;
    fitw_region *surface;
    fitw_pose pose, nudge = {{1, 0, 0, 0, 1, 0, 0, 0, 1}, {0.2, -0.1, 0.15}};
    size_t i;
    fitw_status status;

    /* The same targets, turned a quarter about z and shifted: from = (y, -x, z) of to - (5, 6, 7). */
    for (i = 0; i < 5; ++i) {
        from[3 * i] = to[3 * i + 1] - 6.0;
        from[3 * i + 1] = -(to[3 * i] - 5.0);
        from[3 * i + 2] = to[3 * i + 2] - 7.0;
    }
    OK(fitw_join_by_targets(ctx, to, 5, 0, from, 5, 24, NULL, &join));
    OK(fitw_join_pose(ctx, join, &pose));
    TRUE_(near_to(pose.translation_mm[0], 5, 1e-9) && near_to(pose.rotation[1], -1, 1e-12));
    info.struct_size = sizeof info;
    OK(fitw_join_describe(ctx, join, &info));
    TRUE_(info.converged == 1 && info.pair_count == 5 && info.overlap == 1.0 && info.rms_mm < 1e-9);
    pair.struct_size = sizeof pair;
    OK(fitw_join_pair(ctx, join, 4, &pair));
    TRUE_(pair.to == pair.from && pair.residual_mm < 1e-9);
    covariance.struct_size = sizeof covariance;
    OK(fitw_join_covariance(ctx, join, NULL, &covariance));
    feature = plane_of(scan, "deck", ON_DECK, &surface);
    OK(fitw_feature_join(ctx, feature, join, &joined));
    {
        fitw_join *none = NULL;
        IS(FITW_E_JOIN, fitw_join_by_targets(ctx, to, 2, 0, from, 2, 0, NULL, &none));
        TRUE_(none == NULL);
    }
    OK(fitw_scan_move(ctx, scan, &nudge, &moved));
    status = fitw_join_by_surface(ctx, moved, scan, NULL, NULL, &by_surface);
    TRUE_(status == FITW_OK);
    OK(fitw_join_pose(ctx, by_surface, &pose));
    TRUE_(near_to(pose.translation_mm[2], 0.15, 0.02) && near_to(pose.translation_mm[0], 0.2, 0.05));
    OK(fitw_join_release(by_surface));
    OK(fitw_scan_release(moved));
    OK(fitw_feature_release(joined));
    OK(fitw_feature_release(feature));
    OK(fitw_region_release(surface));
    OK(fitw_join_release(join));
}

/* A box as a part: over the deck with its underside at height z. */
static fitw_part *box_part(double z)
{
    double points[24];
    static const uint32_t triangles[36] = {0, 2, 1, 0, 3, 2, 4, 5, 6, 4, 6, 7, 0, 1, 5, 0, 5, 4,
                                           1, 2, 6, 1, 6, 5, 2, 3, 7, 2, 7, 6, 3, 0, 4, 3, 4, 7};
    fitw_mesh mesh = FITW_ZERO;
    fitw_part *part = NULL;
    size_t i;
    for (i = 0; i < 8; ++i) {
        points[3 * i] = i % 4 == 1 || i % 4 == 2 ? 25.0 : 15.0;
        points[3 * i + 1] = i % 4 >= 2 ? 5.0 : -5.0;
        points[3 * i + 2] = z + (i >= 4 ? 6.0 : 0.0);
    }
    mesh.struct_size = sizeof mesh;
    mesh.points = points;
    mesh.point_count = 8;
    mesh.triangles = triangles;
    mesh.triangle_count = 12;
    OK(fitw_part_create(ctx, &mesh, text("box"), &part));
    return part;
}

/* The box of 10 by 10 mm stands 1 mm deep in a flat deck: 100 mm2 and 100 mm3 of it. */
static void overlap_size(const fitw_check *check, size_t count)
{
    fitw_finding finding = FITW_ZERO;
    fitw_finding_number n = FITW_ZERO;
    fitw_finding_share share = FITW_ZERO;
    size_t i, k, seen = 0;

    finding.struct_size = sizeof finding;
    n.struct_size = sizeof n;
    share.struct_size = sizeof share;
    for (i = 0; i < count; ++i) {
        double sum = 0.0;
        OK(fitw_check_finding(ctx, check, i, &finding));
        TRUE_(finding.measure == FITW_MEASURE_LENGTH && finding.reserved_2 == 0);
        for (k = 0; k < finding.share_count; ++k) {
            OK(fitw_check_share(ctx, check, i, k, &share));
            TRUE_(share.measure == finding.measure && share.cause.len > 0 && share.deviation > 0.0);
            sum += share.deviation * share.deviation;
        }
        TRUE_(finding.share_count == 0 || near_to(2.0 * sqrt(sum), finding.uncertainty_mm, 1e-12));
        IS(FITW_E_ARGUMENT, fitw_check_share(ctx, check, i, finding.share_count, &share));
        for (k = 0; k < finding.number_count; ++k) {
            OK(fitw_check_number(ctx, check, i, k, &n));
            if (finding.kind == FITW_CHECK_INTERFERENCE && strcmp(n.name.ptr, "area") == 0) {
                TRUE_(n.measure == FITW_MEASURE_AREA && near_to(n.value, 100.0, 3.0));
                ++seen;
            }
            if (finding.kind == FITW_CHECK_INTERFERENCE && strcmp(n.name.ptr, "volume") == 0) {
                TRUE_(n.measure == FITW_MEASURE_VOLUME && near_to(n.value, 100.0, 3.0));
                ++seen;
            }
        }
        IS(FITW_E_ARGUMENT, fitw_check_number(ctx, check, i, finding.number_count, &n));
    }
    TRUE_(seen == 2);
    IS(FITW_E_ARGUMENT, fitw_check_number(ctx, check, count, 0, &n));
}

/* A part that floats over the deck is brought in straight: four places and its own. */
static void tools_and_way(fitw_scene scene)
{
    fitw_tool_limits tools;
    fitw_insertion_limits way;
    fitw_check *check = NULL;
    fitw_finding finding;
    fitw_pose path[5];
    size_t count = 0, need = 0, ways = 0, i, k;
    uint32_t without = 7;

    memset(&tools, 0, sizeof tools);
    memset(&way, 0, sizeof way);
    memset(&finding, 0, sizeof finding);
    tools.struct_size = sizeof tools;
    way.struct_size = sizeof way;
    finding.struct_size = sizeof finding;
    way.clearance_mm = 2.0;
    scene.tools = &tools;
    scene.insertion = &way;
    OK(fitw_check_run(ctx, &scene, &check));
    OK(fitw_check_verdict(ctx, check, NULL, &count));
    for (i = 0; i < count; ++i) {
        OK(fitw_check_finding(ctx, check, i, &finding));
        OK(fitw_check_path(ctx, check, i, NULL, 0, &need));
        if (finding.kind != FITW_CHECK_INSERTION) {
            TRUE_(need == 0);
            continue;
        }
        TRUE_(need == 5 && ++ways == 1 && near_to(finding.limit_mm, 2.0, 1e-12));
        IS(FITW_E_BUFFER, fitw_check_path(ctx, check, i, path, 4, &need));
        OK(fitw_check_path(ctx, check, i, path, 5, &need));
        /* It floats over all of the machine by more than the air asked: it is outside already, and goes straight up. */
        for (k = 0; k < 5; ++k)
            TRUE_(path[k].translation_mm[0] == 0.0 && path[k].translation_mm[1] == 0.0 && path[k].translation_mm[2] >= 0.0);
        TRUE_(path[4].translation_mm[2] == 0.0);
    }
    TRUE_(ways == 1);
    IS(FITW_E_ARGUMENT, fitw_check_path(ctx, check, count, path, 5, &need));
    OK(fitw_check_release(check));
    way.without = &without;
    way.without_count = 1;
    IS(FITW_E_ARGUMENT, fitw_check_run(ctx, &scene, &check));
    way.without_count = 0;
    tools.swing_rad = -1.0;
    IS(FITW_E_ARGUMENT, fitw_check_run(ctx, &scene, &check));
}

/* The box of box_part, its faces seen 1 mm apart, where it was designed: symmetric, so that a start is needed. */
static void made_part(const fitw_scene *scene, double z)
{
    static double points[3 * 6 * 11 * 11];
    static double deviations[6 * 11 * 11];
    fitw_mesh mesh = FITW_ZERO;
    fitw_made made = FITW_ZERO;
    fitw_pose start = FITW_ZERO, found = FITW_ZERO;
    fitw_finding finding = FITW_ZERO;
    fitw_scan *scan = NULL;
    fitw_check *check = NULL;
    size_t count = 0, i, j, k, n, seen = 0;

    for (k = 0; k < 3; ++k)
        for (n = 0; n < 2; ++n)
            for (i = 0; i < 11; ++i)
                for (j = 0; j < 11; ++j) {
                    static const double low[3] = {15.0, -5.0, 0.0}, side[3] = {10.0, 10.0, 6.0};
                    double *p = points + 3 * count++;
                    p[k] = low[k] + side[k] * (double)n;
                    p[(k + 1) % 3] = low[(k + 1) % 3] + side[(k + 1) % 3] * (double)i / 10.0;
                    p[(k + 2) % 3] = low[(k + 2) % 3] + side[(k + 2) % 3] * (double)j / 10.0;
                    p[2] += z;
                }
    mesh.struct_size = sizeof mesh;
    mesh.points = points;
    mesh.point_count = count;
    OK(fitw_scan_create(ctx, &mesh, &scan));
    made.struct_size = sizeof made;
    made.scan = scan;
    made.tolerance_mm = 0.2;
    IS(FITW_E_JOIN, fitw_check_made(ctx, scene, &made, NULL, NULL, 0, &check));
    start.rotation[0] = start.rotation[4] = start.rotation[8] = 1.0;
    made.start = &start;
    made.laid_on = 99;
    IS(FITW_E_ARGUMENT, fitw_check_made(ctx, scene, &made, NULL, NULL, 0, &check));
    made.laid_on = FITW_LAID_ON_MODEL;
    IS(FITW_E_BUFFER, fitw_check_made(ctx, scene, &made, NULL, deviations, count - 1, &check));
    TRUE_(check == NULL);
    OK(fitw_check_made(ctx, scene, &made, &found, deviations, count, &check));
    for (i = 0; i < 9; ++i)
        TRUE_(near_to(found.rotation[i], i % 4 == 0 ? 1.0 : 0.0, 1e-6));
    for (i = 0; i < count; ++i)
        TRUE_(near_to(deviations[i], 0.0, 1e-5));
    OK(fitw_check_verdict(ctx, check, NULL, &count));
    finding.struct_size = sizeof finding;
    for (i = 0; i < count; ++i) {
        OK(fitw_check_finding(ctx, check, i, &finding));
        if (finding.kind != FITW_CHECK_MADE_PART) {
            TRUE_(strstr(finding.name.ptr, ", as made") != NULL);
        } else {
            TRUE_(finding.verdict == FITW_VERDICT_PASS && finding.limit_mm == 0.2);
            ++seen;
        }
    }
    TRUE_(seen == 1 && count > 1);
    OK(fitw_check_release(check));
    OK(fitw_scan_release(scan));
}

/* The deck rises by 1 mm and turns by nothing; the box of aluminium, held 100 mm above its lower side, grows down by
   23e-6 * 100 * 50 = 0.115 mm. */
static void moving(const fitw_scene *still)
{
    fitw_scene_move moves[2];
    fitw_scene_motion motion;
    fitw_temperature warm = FITW_ZERO;
    fitw_scene scene = *still;
    fitw_finding f = FITW_ZERO;
    fitw_finding_number n = FITW_ZERO;
    fitw_check *check = NULL;
    int32_t verdict;
    size_t count, i, found = 0;

    memset(moves, 0, sizeof moves);
    memset(&motion, 0, sizeof motion);
    moves[0].kind = FITW_MOVE_TURN, moves[0].feature = -1, moves[0].direction[0] = 1.0;
    moves[1].kind = FITW_MOVE_SHIFT, moves[1].feature = -1, moves[1].direction[2] = 4.0, moves[1].to = 1.0;
    motion.name = text("deck"), motion.moving = FITW_MOVING_BOX;
    motion.low_mm[0] = motion.low_mm[1] = motion.low_mm[2] = -1000.0;
    motion.high_mm[0] = motion.high_mm[1] = motion.high_mm[2] = 1000.0;
    motion.moves = moves, motion.move_count = 2, motion.clearance_mm = 4.5;
    scene.motions = &motion, scene.motion_count = 1;
    warm.struct_size = sizeof warm, warm.flags = FITW_TEMPERATURE_FIXED, warm.fixed_mm[2] = 105.0;
    OK(fitw_material_expansion(ctx, text("aluminium"), &warm.part.expansion, &warm.part.expansion_within));
    TRUE_(near_to(warm.part.expansion, 23e-6, 1e-15));
    IS(FITW_E_ARGUMENT, fitw_material_expansion(ctx, text("cheese"), &warm.part.expansion, &warm.part.expansion_within));
    warm.part.from_celsius = warm.machine.from_celsius = warm.machine.to_celsius = 20.0, warm.part.to_celsius = 70.0;
    scene.temperature = &warm;
    OK(fitw_check_run(ctx, &scene, &check));
    OK(fitw_check_verdict(ctx, check, &verdict, &count));
    f.struct_size = sizeof f, n.struct_size = sizeof n;
    for (i = 0; i < count; ++i) {
        OK(fitw_check_finding(ctx, check, i, &f));
        if (f.kind == FITW_CHECK_MOTION) {
            TRUE_(near_to(f.value_mm, 4.0, 0.05) && f.verdict == FITW_VERDICT_FAIL && f.limit_mm == 4.5);
            OK(fitw_check_number(ctx, check, i, 1, &n));
            TRUE_(strcmp(n.name.ptr, "movement_2") == 0 && near_to(n.value, 1.0, 0.01));
            ++found;
        }
        if (f.kind == FITW_CHECK_THERMAL) {
            TRUE_(near_to(f.value_mm, 5.0 - 0.115, 0.05));
            ++found;
        }
    }
    TRUE_(found == 2);
    OK(fitw_check_release(check));
    check = NULL;
    moves[1].feature = 3;
    IS(FITW_E_ARGUMENT, fitw_check_run(ctx, &scene, &check));
    moves[1].feature = -1, moves[1].direction[2] = 0.0;
    IS(FITW_E_ARGUMENT, fitw_check_run(ctx, &scene, &check));
    moves[1].direction[2] = 1.0, moves[1].kind = 7;
    IS(FITW_E_ARGUMENT, fitw_check_run(ctx, &scene, &check));
    moves[1].kind = FITW_MOVE_SHIFT, motion.moving = 11;
    IS(FITW_E_ARGUMENT, fitw_check_run(ctx, &scene, &check));
    motion.moving = FITW_MOVING_BOX, motion.place = 1;
    IS(FITW_E_ARGUMENT, fitw_check_run(ctx, &scene, &check));
    motion.place = 0, warm.part.to_celsius = -300.0;
    IS(FITW_E_ARGUMENT, fitw_check_run(ctx, &scene, &check));
    TRUE_(check == NULL);
}

/* Beside the box from 5 to 11: one 2 mm over it, one 1 mm deep in it (10 by 10 by 1 are shared), one that lies on it. */
static void others(fitw_scene scene)
{
    fitw_part *above = box_part(13.0), *in = box_part(10.0), *on = box_part(11.0);
    fitw_other_part list[3];
    fitw_insertion_limits way = FITW_ZERO;
    fitw_scene_motion motion;
    fitw_scene_move down;
    fitw_check *check = NULL;
    fitw_finding f = FITW_ZERO;
    fitw_finding_number n = FITW_ZERO;
    uint32_t without = 3;
    size_t count, i, k, seen = 0, volumes = 0;

    memset(list, 0, sizeof list);
    memset(&motion, 0, sizeof motion);
    memset(&down, 0, sizeof down);
    list[0].part = above, list[0].name = text("above"), list[0].keep_clear_mm = 1.5;
    list[1].part = in, list[1].name = text("in");
    list[2].part = on, list[2].name = text("on"), list[2].touches = 1;
    down.kind = FITW_MOVE_SHIFT, down.feature = -1, down.direction[2] = -1.0, down.to = 0.75;
    motion.name = text("lid"), motion.moving = FITW_MOVING_PART;
    motion.moves = &down, motion.move_count = 1;
    scene.other_parts = list, scene.other_part_count = 3;
    scene.motions = &motion, scene.motion_count = 1;
    f.struct_size = sizeof f, n.struct_size = sizeof n;
    OK(fitw_check_run(ctx, &scene, &check));
    OK(fitw_check_verdict(ctx, check, NULL, &count));
    for (i = 0; i < count; ++i) {
        OK(fitw_check_finding(ctx, check, i, &f));
        if (f.kind == FITW_CHECK_MOTION) {
            TRUE_(near_to(f.value_mm, 1.25, 1e-6) && f.limit_mm == 1.5 && f.verdict == FITW_VERDICT_FAIL);
            ++seen;
        }
        if (f.kind != FITW_CHECK_CLEARANCE) continue;
        if (strcmp(f.name.ptr, "above") == 0)
            TRUE_(++seen && near_to(f.value_mm, 2.0, 1e-9) && f.limit_mm == 1.5 && f.verdict == FITW_VERDICT_PASS);
        if (strcmp(f.name.ptr, "on") == 0)
            TRUE_(++seen && f.value_mm == 0.0 && f.limit_mm == 0.0 && f.verdict == FITW_VERDICT_PASS);
        if (strcmp(f.name.ptr, "in") != 0) continue;
        TRUE_(++seen && near_to(f.value_mm, -1.0, 1e-9) && f.limit_mm == 3.0 && f.verdict == FITW_VERDICT_FAIL);
        for (k = 0; k < f.number_count; ++k) {
            OK(fitw_check_number(ctx, check, i, k, &n));
            if (strcmp(n.name.ptr, "volume") == 0) TRUE_(++volumes && near_to(n.value, 100.0, 1.0));
        }
    }
    TRUE_(seen == 4 && volumes == 1);
    OK(fitw_check_release(check));
    check = NULL;
    way.struct_size = sizeof way, way.without_parts = &without, way.without_part_count = 1;
    scene.insertion = &way;
    IS(FITW_E_ARGUMENT, fitw_check_run(ctx, &scene, &check));
    way.struct_size = 48; /* of 1.4: what came later is not read */
    OK(fitw_check_run(ctx, &scene, &check));
    OK(fitw_check_release(check));
    check = NULL, scene.insertion = NULL;
    motion.place = 3;
    IS(FITW_E_ARGUMENT, fitw_check_run(ctx, &scene, &check));
    motion.place = 0, list[1].reserved = 1;
    IS(FITW_E_ARGUMENT, fitw_check_run(ctx, &scene, &check));
    list[1].reserved = 0, scene.other_part_stride = 8;
    IS(FITW_E_ARGUMENT, fitw_check_run(ctx, &scene, &check));
    scene.other_part_stride = 0, list[1].part = NULL;
    TRUE_(fitw_check_run(ctx, &scene, &check) != FITW_OK && check == NULL);
    OK(fitw_part_release(above));
    OK(fitw_part_release(in));
    OK(fitw_part_release(on));
}

static void parts_and_checks(fitw_scan *scan)
{
    fitw_part *part = box_part(5.0), *low = box_part(-1.0);
    fitw_part_info info = FITW_ZERO;
    fitw_part_hole_info hole = FITW_ZERO;
    fitw_scene_scan of_scan;
    fitw_scene scene = FITW_ZERO;
    fitw_check *check = NULL;
    fitw_finding finding = FITW_ZERO;
    fitw_pose pose;
    int32_t verdict;
    double clearance[8] = {0};
    const double *xyz;
    const uint32_t *corners;
    size_t count, need = 0, i;

    info.struct_size = sizeof info;
    OK(fitw_part_describe(ctx, part, &info));
    TRUE_(info.closed == 1 && info.solid_count == 1 && info.point_count == 8 && info.triangle_count == 12);
    TRUE_(near_to(info.volume_mm3, 600.0, 1e-9) && near_to(info.area_mm2, 440.0, 1e-9));
    TRUE_(info.low_mm[2] == 5.0 && info.high_mm[2] == 11.0 && strcmp(info.schema.ptr, "arrays") == 0);
    OK(fitw_part_points_view(ctx, part, &xyz, &count));
    TRUE_(count == 8);
    OK(fitw_part_triangles_view(ctx, part, &corners, &count));
    TRUE_(count == 12);
    OK(fitw_part_face_of_triangle_view(ctx, part, &corners, &count));
    TRUE_(count == 0 && corners == NULL);
    hole.struct_size = sizeof hole;
    IS(FITW_E_ARGUMENT, fitw_part_hole(ctx, part, 0, &hole));
    IS(FITW_E_UNDETERMINED, fitw_part_hole_at(ctx, part, ON_DECK, &hole));

    memset(&of_scan, 0, sizeof of_scan);
    of_scan.scan = scan;
    of_scan.name = text("front");
    of_scan.machine_from_scan.rotation[0] = 1.0;
    of_scan.machine_from_scan.rotation[4] = 1.0;
    of_scan.machine_from_scan.rotation[8] = 1.0;
    scene.struct_size = sizeof scene;
    scene.part = part;
    scene.scans = &of_scan;
    scene.scan_count = 1;
    scene.clearance_mm = 3.0;
    OK(fitw_check_run(ctx, &scene, &check));
    OK(fitw_check_verdict(ctx, check, &verdict, &count));
    TRUE_(count > 0);
    OK(fitw_check_part_pose(ctx, check, &pose));
    for (i = 0; i < 9; ++i)
        TRUE_(pose.rotation[i] == (i % 4 == 0 ? 1.0 : 0.0) && pose.translation_mm[i / 3] == 0.0);
    finding.struct_size = sizeof finding;
    for (i = 0; i < count; ++i) {
        OK(fitw_check_finding(ctx, check, i, &finding));
        if (finding.kind == FITW_CHECK_CLEARANCE)
            TRUE_(near_to(finding.value_mm, 5.0, 0.05) && finding.verdict == FITW_VERDICT_PASS);
        TRUE_(finding.kind != FITW_CHECK_INTERFERENCE || finding.verdict != FITW_VERDICT_FAIL);
        TRUE_(strlen(finding.detail.ptr) == finding.detail.len);
    }
    OK(fitw_check_release(check));
    tools_and_way(scene);

    OK(fitw_check_clearance(ctx, &scene, NULL, 0, &need));
    TRUE_(need == 8);
    clearance[0] = 77.0;
    IS(FITW_E_BUFFER, fitw_check_clearance(ctx, &scene, clearance, 7, &need));
    TRUE_(clearance[0] == 77.0);
    OK(fitw_check_clearance(ctx, &scene, clearance, 8, &need));
    for (i = 0; i < 8; ++i)
        TRUE_(near_to(clearance[i], i < 4 ? 5.0 : 11.0, 0.05));

    made_part(&scene, 5.0);
    moving(&scene);
    others(scene);

    /* One millimetre deep in the deck. */
    scene.part = low;
    OK(fitw_check_run(ctx, &scene, &check));
    OK(fitw_check_verdict(ctx, check, &verdict, &count));
    TRUE_(verdict == FITW_VERDICT_FAIL);
    OK(fitw_check_finding(ctx, check, 0, &finding));
    TRUE_(finding.verdict == FITW_VERDICT_FAIL);
    overlap_size(check, count);
    OK(fitw_check_release(check));
    OK(fitw_part_release(low));
    OK(fitw_part_release(part));
}

static void jobs(const char *folder)
{
    fitw_job *job = NULL;
    fitw_outcome *outcome = NULL;
    fitw_text *schema = NULL;
    fitw_str s;
    fitw_scan *scan = NULL;
    char path[512], message[300];
    size_t need;
    FILE *f;

    IS(FITW_E_JOB, fitw_job_create(ctx, text("[job]\nnam = \"x\"\n"), text(""), &job));
    OK(fitw_context_error_message(ctx, message, sizeof message, &need));
    TRUE_(strlen(message) + 1 == need);
    OK(fitw_job_schema(ctx, &schema));
    OK(fitw_text_view(ctx, schema, &s));
    TRUE_(s.ptr[0] == '{');
    OK(fitw_text_release(schema));

    snprintf(path, sizeof path, "%s/flat.xyz", folder);
    f = fopen(path, "w");
    TRUE_(f != NULL);
    {
        uint32_t state = 5;
        int i, j;
        for (i = 0; i < 30; ++i)
            for (j = 0; j < 30; ++j)
                fprintf(f, "%d %d %.4f\n", i, j, scatter(&state));
    }
    fclose(f);
    OK(fitw_scan_read(ctx, text(path), FITW_UNIT_MM, NULL, &scan));
    OK(fitw_scan_release(scan));
    OK(fitw_job_create(ctx,
                       text("[job]\nname = \"flat\"\nlength = \"mm\"\nangle = \"deg\"\n[[scan]]\nname = \"s\"\n"
                            "file = \"flat.xyz\"\n[[feature]]\nname = \"face\"\nfit = \"plane\"\nregion = \"all\"\n"),
                       text(folder), &job));
    OK(fitw_job_run(ctx, job, &outcome));
    OK(fitw_outcome_json(ctx, outcome, &s));
    TRUE_(strstr(s.ptr, "\"face\"") != NULL && strlen(s.ptr) == s.len);
    {
        fitw_outcome_info info = FITW_ZERO;
        fitw_feature *feature = NULL;
        fitw_check *check = NULL;
        fitw_feature_info what = FITW_ZERO;
        info.struct_size = sizeof info;
        OK(fitw_outcome_describe(ctx, outcome, &info));
        TRUE_(info.scan_count == 1 && info.feature_count == 1 && info.verdict == FITW_VERDICT_PASS);
        OK(fitw_outcome_feature(ctx, outcome, 0, &feature));
        what.struct_size = sizeof what;
        OK(fitw_feature_describe(ctx, feature, &what));
        TRUE_(strcmp(what.name.ptr, "face") == 0);
        OK(fitw_outcome_check(ctx, outcome, &check));
        OK(fitw_check_release(check));
        OK(fitw_feature_release(feature));
    }
    OK(fitw_outcome_write(ctx, outcome, text(folder), 0));
    snprintf(path, sizeof path, "%s/result.json", folder);
    f = fopen(path, "rb");
    TRUE_(f != NULL);
    fclose(f);
    OK(fitw_outcome_release(outcome));
    OK(fitw_job_release(job));
}

static int32_t stop_at_once(void *user, fitw_str step, double fraction)
{
    ++*(int *)user;
    return step.len > 0 && fraction >= 0.0;
}

static void take_line(void *user, int32_t level, fitw_str line)
{
    if (level == FITW_LOG_ERROR && strlen(line.ptr) == line.len)
        ++*(int *)user;
}

static void contexts(const machine *m, const char *folder)
{
    fitw_context_options options = FITW_ZERO;
    fitw_context *other = NULL;
    fitw_scan *scan = NULL;
    fitw_mesh mesh = mesh_of(m);
    uint64_t bytes;
    int reports = 0, lines = 0;
    fitw_status status;
    char path[512], small[8];
    size_t need;

    options.struct_size = sizeof options;
    options.threads = 2;
    options.progress = stop_at_once;
    options.progress_user = &reports;
    options.log = take_line;
    options.log_user = &lines;
    options.memory_limit = 24 * m->point_count + 12 * m->triangle_count;
    OK(fitw_context_create(&options, &other));
    OK(fitw_scan_create(other, &mesh, &scan));
    OK(fitw_context_memory(other, &bytes));
    TRUE_(bytes == options.memory_limit);
    {
        fitw_scan *second = NULL;
        IS(FITW_E_LIMIT, fitw_scan_create(other, &mesh, &second));
        OK(fitw_scan_release(scan));
        OK(fitw_scan_create(other, &mesh, &scan));
    }
    TRUE_(lines == 1);
    OK(fitw_context_error_status(other, &status));
    TRUE_(status == FITW_OK);
    snprintf(path, sizeof path, "%s/flat.xyz", folder);
    {
        fitw_scan *none = NULL;
        IS(FITW_E_CANCELLED, fitw_scan_read(other, text(path), FITW_UNIT_MM, NULL, &none));
        TRUE_(reports == 1 && none == NULL);
        OK(fitw_context_error_status(other, &status));
        TRUE_(status == FITW_E_CANCELLED);
        IS(FITW_E_CANCELLED, fitw_scan_create(other, &mesh, &none));
        OK(fitw_context_resume(other));
        IS(FITW_E_IO, fitw_scan_read(ctx, text("/no/such/file.ply"), FITW_UNIT_MM, NULL, &none));
        OK(fitw_scan_nearest(other, scan, ON_DECK, NULL, NULL));
        OK(fitw_context_cancel(other));
        IS(FITW_E_CANCELLED, fitw_scan_create(other, &mesh, &none));
        OK(fitw_context_error_place(other, small, sizeof small, &need));
        TRUE_(strcmp(small, "fitw_sc") == 0 && need == strlen("fitw_scan_create") + 1);
    }
    /* Handles outlive the context and are used with another. */
    OK(fitw_context_release(other));
    OK(fitw_scan_nearest(ctx, scan, ON_DECK, NULL, NULL));
    OK(fitw_scan_release(scan));
    IS(FITW_E_HANDLE, fitw_context_cancel(other));
    IS(FITW_E_HANDLE, fitw_context_release(other));
}

int main(int argc, char **argv)
{
    machine m = make_machine();
    fitw_scan *scan;
    TRUE_(argc == 2);
    OK(fitw_context_create(NULL, &ctx));
    versions();
    scan = scans(&m);
    regions(scan, &m);
    fitters(scan);
    machine_features(scan, argv[1]);
    joins(scan);
    parts_and_checks(scan);
    jobs(argv[1]);
    contexts(&m, argv[1]);
    OK(fitw_scan_release(scan));
    OK(fitw_context_release(ctx));
    free_machine(&m);
    puts("interface: ok");
    return 0;
}
