/* The survey through the C interface, on a mesh whose every surface is known. */
#include "common.h"

#define AROUND 72

/* The machine of common.h, a shaft of radius 5 about z below its hole, and a tube of radius 4 with a bend of 15. */
static const double SHAFT = 5.0, TUBE = 4.0, BEND = 15.0, PI = 3.14159265358979323846;

static int near_to(double a, double b, double within) { return fabs(a - b) <= within; }

/* A ring of points round `centre` about (0, along[1], along[2]), joined to the ring before it unless it is the first. */
static void ring(machine *m, const double centre[3], const double along[3], double radius, int first, uint32_t *state)
{
    const double v[3] = {0.0, along[2], -along[1]};
    size_t j, before = m->point_count - AROUND, here = m->point_count;
    for (j = 0; j < AROUND; ++j) {
        double turn = 2.0 * PI * (double)j / AROUND, r = radius + scatter(state);
        double *p = m->points + 3 * m->point_count++;
        p[0] = centre[0] + r * cos(turn), p[1] = centre[1] + r * sin(turn) * v[1];
        p[2] = centre[2] + r * sin(turn) * v[2];
    }
    for (j = 0; !first && j < AROUND; ++j) {
        size_t k = (j + 1) % AROUND;
        quad(m, before + j, before + k, here + k, here + j);
    }
}

static machine make_more(void)
{
    machine m = make_machine();
    uint32_t state = 7;
    size_t i;
    const size_t rings = 200;
    m.points = realloc(m.points, 3 * (m.point_count + rings * AROUND) * sizeof *m.points);
    m.triangles = realloc(m.triangles, 6 * (m.point_count + rings * AROUND) * sizeof *m.triangles);
    TRUE_(m.points != NULL && m.triangles != NULL);
    for (i = 0; i <= 40; ++i) {
        const double centre[3] = {0.0, 0.0, -40.0 + 0.5 * (double)i}, along[3] = {0.0, 0.0, 1.0};
        ring(&m, centre, along, SHAFT, i == 0, &state);
    }
    /* 20 mm along z, a quarter turn, 20 mm along y. */
    for (i = 0; i <= 126; ++i) {
        double s = 0.5 * (double)i - 20.0, turn = s < 0.0 ? 0.0 : fmin(s / BEND, PI / 2.0);
        double past = fmax(s - BEND * PI / 2.0, 0.0);
        const double along[3] = {0.0, sin(turn), cos(turn)};
        const double centre[3] = {80.0, BEND * (1.0 - cos(turn)) + past, (s < 0.0 ? s : BEND * sin(turn))};
        ring(&m, centre, along, TUBE, i == 0, &state);
    }
    return m;
}

/* The only primitive of a kind and about a radius. */
static size_t only(fitw_survey *survey, int32_t kind, double radius)
{
    fitw_survey_info info = FITW_ZERO;
    fitw_surveyed p = FITW_ZERO;
    size_t k, found = 0, hits = 0;
    info.struct_size = sizeof info, p.struct_size = sizeof p;
    OK(fitw_survey_describe(ctx, survey, &info));
    for (k = 0; k < info.primitive_count; ++k) {
        OK(fitw_survey_primitive(ctx, survey, k, &p));
        if (p.kind == kind && near_to(p.size_1, radius, 0.01)) found = k, ++hits;
    }
    if (hits != 1) failed(__FILE__, __LINE__, "primitives of this kind and radius", (long)hits);
    return found;
}

/* Points: each of one primitive or of none, near its shape, and what the feature and the region of it say. */
static void of_primitives(fitw_survey *survey, const machine *m)
{
    fitw_survey_info info = FITW_ZERO;
    size_t k, i, count, points = 0, again;
    unsigned char *taken = calloc(m->point_count, 1);
    const uint32_t *ids, *beside, *back, *of_region;
    TRUE_(taken != NULL);
    info.struct_size = sizeof info;
    OK(fitw_survey_describe(ctx, survey, &info));
    for (k = 0; k < info.primitive_count; ++k) {
        struct {
            fitw_surveyed p;
            double later;
        } out;
        fitw_shape shape = FITW_ZERO;
        fitw_uncertainty u = FITW_ZERO;
        fitw_feature_info named = FITW_ZERO;
        fitw_feature *feature = NULL;
        fitw_region *region = NULL;
        double off;
        memset(&out, 0, sizeof out);
        out.p.struct_size = sizeof out, out.later = 3.0;
        shape.struct_size = sizeof shape, u.struct_size = sizeof u, named.struct_size = sizeof named;
        OK(fitw_survey_primitive(ctx, survey, k, &out.p));
        /* What a later version might add is zero. */
        TRUE_(out.later == 0.0 && strlen(out.p.id.ptr) == out.p.id.len);
        OK(fitw_survey_ids_view(ctx, survey, k, &ids, &count));
        TRUE_(count == out.p.point_count && count >= 40 && out.p.area_mm2 > 0.0);
        points += count;
        OK(fitw_survey_feature(ctx, survey, k, &feature));
        OK(fitw_survey_region(ctx, survey, k, &region));
        OK(fitw_feature_describe(ctx, feature, &named));
        OK(fitw_feature_shape(ctx, feature, &shape));
        OK(fitw_feature_uncertainty(ctx, feature, NULL, &u));
        TRUE_(strcmp(named.name.ptr, out.p.id.ptr) == 0 && named.piece_count > 0);
        TRUE_(shape.kind == out.p.kind && shape.size_1 == out.p.size_1 && shape.size_2 == out.p.size_2);
        TRUE_(memcmp(shape.point_mm, out.p.point_mm, sizeof shape.point_mm) == 0);
        TRUE_(memcmp(shape.direction, out.p.direction, sizeof shape.direction) == 0);
        TRUE_(u.position_mm == out.p.position_uncertainty_mm && u.tilt_rad == out.p.tilt_uncertainty_rad);
        TRUE_(u.size_1 == out.p.size_1_uncertainty && u.size_2 == out.p.size_2_uncertainty);
        TRUE_(u.position_mm > 0.0 && u.position_mm < 0.01);
        OK(fitw_region_ids_view(ctx, region, &of_region, &again));
        TRUE_(again == count && memcmp(of_region, ids, count * sizeof *ids) == 0);
        OK(fitw_shape_distances(ctx, &shape, out.p.at_mm, 1, 0, &off));
        TRUE_(fabs(off) < 0.02);
        for (i = 0; i < count; ++i) {
            OK(fitw_shape_distances(ctx, &shape, m->points + 3 * ids[i], 1, 0, &off));
            TRUE_(fabs(off) < 0.1 && !taken[ids[i]] && (i == 0 || ids[i] > ids[i - 1]));
            taken[ids[i]] = 1;
        }
        OK(fitw_survey_neighbours_view(ctx, survey, k, &beside, &count));
        TRUE_(count == out.p.neighbour_count);
        for (i = 0; i < count; ++i) {
            size_t of, j, mutual = 0;
            OK(fitw_survey_neighbours_view(ctx, survey, beside[i], &back, &of));
            for (j = 0; j < of; ++j) mutual += back[j] == k;
            TRUE_(mutual == 1);
        }
        OK(fitw_feature_release(feature));
        OK(fitw_region_release(region));
    }
    TRUE_(points + info.unclaimed_count == m->point_count);
    free(taken);
}

static void of_what_they_make(fitw_survey *survey)
{
    fitw_survey_info info = FITW_ZERO;
    fitw_surveyed p = FITW_ZERO;
    fitw_surveyed_hole hole = FITW_ZERO;
    fitw_proposed_datum datum = FITW_ZERO;
    const uint32_t *members;
    size_t count, k, i, coaxial = 0;
    int32_t kind;
    double radius;
    const size_t wall = only(survey, FITW_KIND_CYLINDER, HOLE_RADIUS), shaft = only(survey, FITW_KIND_CYLINDER, SHAFT);
    const size_t bend = only(survey, FITW_KIND_TORUS, BEND);
    info.struct_size = sizeof info, p.struct_size = sizeof p;
    hole.struct_size = sizeof hole, datum.struct_size = sizeof datum;
    OK(fitw_survey_describe(ctx, survey, &info));
    /* Deck and side; hole, shaft and the tube's two ends; the bend. */
    TRUE_(info.primitive_count == 7 && info.tube_count == 1);
    OK(fitw_survey_primitive(ctx, survey, 0, &p));
    TRUE_(p.kind == FITW_KIND_PLANE && p.side == FITW_SIDE_FLAT && strcmp(p.id.ptr, "plane 1") == 0);
    TRUE_(near_to(p.direction[2], 1.0, 1e-6) && near_to(p.point_mm[2], 0.0, 0.005) && p.size_1 == 0.0);
    OK(fitw_survey_primitive(ctx, survey, wall, &p));
    TRUE_(p.side == FITW_SIDE_INNER && near_to(p.size_1, HOLE_RADIUS, 0.003) && p.size_1_uncertainty > 0.0);
    OK(fitw_survey_primitive(ctx, survey, shaft, &p));
    TRUE_(p.side == FITW_SIDE_OUTER && near_to(p.size_1, SHAFT, 0.003));
    OK(fitw_survey_primitive(ctx, survey, bend, &p));
    TRUE_(p.side == FITW_SIDE_OUTER && near_to(p.size_1, BEND, 0.01) && near_to(p.size_2, TUBE, 0.005));

    TRUE_(info.hole_count >= 1);
    for (k = 0; k < info.hole_count; ++k) {
        OK(fitw_survey_hole(ctx, survey, k, &hole));
        if (hole.wall != FITW_SURVEY_NONE) break;
    }
    TRUE_(k < info.hole_count && hole.wall == (int32_t)wall && hole.face == 0 && hole.through == 0);
    TRUE_(hole.other_end == FITW_SURVEY_NONE && near_to(hole.radius_mm, HOLE_RADIUS, 0.003));
    TRUE_(near_to(hole.axis[2], 1.0, 1e-5) && near_to(hole.depth_mm, 12.0, 1.0));
    for (i = 0; i < 3; ++i) TRUE_(near_to(hole.point_mm[i], 0.0, 0.01));
    IS(FITW_E_ARGUMENT, fitw_survey_hole(ctx, survey, info.hole_count, &hole));

    OK(fitw_survey_tube_view(ctx, survey, 0, &members, &count, &radius));
    TRUE_(count == 3 && members[1] == bend && near_to(radius, TUBE, 0.005));
    OK(fitw_survey_tube_view(ctx, survey, 0, &members, &count, NULL));
    IS(FITW_E_ARGUMENT, fitw_survey_tube_view(ctx, survey, 1, &members, &count, &radius));

    for (k = 0; k < info.group_count; ++k) {
        size_t both = 0;
        OK(fitw_survey_group_view(ctx, survey, k, &members, &count, &kind, &radius));
        TRUE_(count >= 2 && (kind == FITW_SURVEYED_SAME_RADIUS) == !isnan(radius));
        for (i = 0; i < count; ++i) both += members[i] == wall || members[i] == shaft;
        coaxial += kind == FITW_SURVEYED_COAXIAL && both == 2 && count == 2;
    }
    TRUE_(coaxial == 1);
    IS(FITW_E_ARGUMENT, fitw_survey_group_view(ctx, survey, k, &members, &count, &kind, &radius));

    OK(fitw_survey_datum(ctx, survey, &datum));
    TRUE_(datum.primary == 0 && datum.secondary == 1 && datum.tertiary == FITW_SURVEY_NONE);
    OK(fitw_survey_hole(ctx, survey, (size_t)datum.hole, &hole));
    TRUE_(hole.wall == (int32_t)wall);
}

/* Between hole and shaft on their axis: 4 mm below the one, 4 mm above the other. */
static void by_place(fitw_survey *survey)
{
    const double between[3] = {0.0, 0.0, -16.0}, nowhere[3] = {0.0, NAN, 0.0};
    const int32_t wall = (int32_t)only(survey, FITW_KIND_CYLINDER, HOLE_RADIUS);
    const int32_t shaft = (int32_t)only(survey, FITW_KIND_CYLINDER, SHAFT);
    int32_t index = 77;
    double distance = 0.0;
    OK(fitw_survey_nearest(ctx, survey, between, FITW_KIND_CYLINDER, 16.5, &index, &distance));
    TRUE_(index == wall && near_to(distance, hypot(HOLE_RADIUS, 4.0), 0.3));
    OK(fitw_survey_nearest(ctx, survey, between, FITW_KIND_CYLINDER, 10.0, &index, &distance));
    TRUE_(index == shaft && near_to(distance, hypot(SHAFT, 4.0), 0.3));
    OK(fitw_survey_nearest(ctx, survey, between, 0, 0.0, &index, NULL));
    TRUE_(index == shaft);
    OK(fitw_survey_nearest(ctx, survey, between, FITW_KIND_PLANE, 0.0, &index, &distance));
    TRUE_(index == 0);
    OK(fitw_survey_nearest(ctx, survey, between, 0, 300.0, &index, &distance));
    TRUE_(index == FITW_SURVEY_NONE && isnan(distance));
    OK(fitw_survey_nearest(ctx, survey, between, FITW_KIND_SPHERE, 0.0, &index, &distance));
    TRUE_(index == FITW_SURVEY_NONE);
    IS(FITW_E_ARGUMENT, fitw_survey_nearest(ctx, survey, nowhere, 0, 0.0, &index, &distance));
    IS(FITW_E_ARGUMENT, fitw_survey_nearest(ctx, survey, NULL, 0, 0.0, &index, &distance));
    IS(FITW_E_ARGUMENT, fitw_survey_nearest(ctx, survey, between, 11, 0.0, &index, &distance));
    IS(FITW_E_ARGUMENT, fitw_survey_nearest(ctx, survey, between, 0, -1.0, &index, &distance));
    IS(FITW_E_ARGUMENT, fitw_survey_nearest(ctx, survey, between, 0, 0.0, NULL, &distance));
}

static void of_texts(fitw_survey *survey)
{
    fitw_text *written = NULL;
    fitw_job *job = NULL;
    fitw_str s;
    OK(fitw_survey_json(ctx, survey, text("front \"b\".ply"), &written));
    OK(fitw_text_view(ctx, written, &s));
    TRUE_(strlen(s.ptr) == s.len && strstr(s.ptr, "\"cylinder 1\"") != NULL && strstr(s.ptr, "front \\\"b\\\".ply") != NULL);
    OK(fitw_text_release(written));
    OK(fitw_survey_json(ctx, survey, text(""), &written));
    OK(fitw_text_release(written));
    OK(fitw_survey_starter_job(ctx, survey, text("front \"b\".ply"), FITW_UNIT_INCH, &written));
    OK(fitw_text_view(ctx, written, &s));
    TRUE_(strstr(s.ptr, "unit = \"in\"") != NULL && strstr(s.ptr, "fit = \"hole\"") != NULL);
    /* It is a job as it stands. */
    OK(fitw_job_create(ctx, s, text(""), &job));
    OK(fitw_job_release(job));
    OK(fitw_text_release(written));
    written = NULL;
    IS(FITW_E_ARGUMENT, fitw_survey_starter_job(ctx, survey, text("a.ply"), 11, &written));
    IS(FITW_E_ARGUMENT, fitw_survey_json(ctx, survey, text("\xff.ply"), &written));
    IS(FITW_E_ARGUMENT, fitw_survey_json(ctx, survey, text("a.ply"), NULL));
    TRUE_(written == NULL);
}

static int32_t stop(void *user, fitw_str step, double fraction)
{
    (void)step, (void)fraction;
    ++*(int *)user;
    return 1;
}

static void what_is_refused(fitw_scan *scan, fitw_survey *survey)
{
    const double bad[3] = {-1.0, NAN, INFINITY};
    fitw_survey_options options = FITW_ZERO;
    fitw_survey *none = NULL;
    fitw_surveyed p = FITW_ZERO;
    fitw_survey_info info = FITW_ZERO;
    fitw_context *first = ctx;
    fitw_context_options cancelling = FITW_ZERO;
    fitw_feature *feature = NULL;
    fitw_region *region = NULL;
    const uint32_t *view;
    size_t k, count;
    int calls = 0;
    options.struct_size = sizeof options, p.struct_size = sizeof p, info.struct_size = sizeof info;
    for (k = 0; k < 3; ++k) {
        options.smallest_mm = bad[k];
        IS(FITW_E_ARGUMENT, fitw_survey_run(ctx, scan, &options, &none));
    }
    options.smallest_mm = 0.0, options.flags = 1;
    IS(FITW_E_ARGUMENT, fitw_survey_run(ctx, scan, &options, &none));
    options.flags = 0, options.struct_size = 8;
    IS(FITW_E_ARGUMENT, fitw_survey_run(ctx, scan, &options, &none));
    options.struct_size = sizeof options;
    IS(FITW_E_HANDLE, fitw_survey_run(ctx, NULL, &options, &none));
    IS(FITW_E_HANDLE, fitw_survey_run(ctx, (fitw_scan *)survey, &options, &none));
    IS(FITW_E_ARGUMENT, fitw_survey_run(ctx, scan, &options, NULL));
    IS(FITW_E_HANDLE, fitw_survey_describe(ctx, NULL, &info));
    IS(FITW_E_ARGUMENT, fitw_survey_describe(ctx, survey, NULL));
    OK(fitw_survey_describe(ctx, survey, &info));
    k = (size_t)info.primitive_count;
    IS(FITW_E_ARGUMENT, fitw_survey_primitive(ctx, survey, k, &p));
    p.struct_size = sizeof p - 8;
    IS(FITW_E_ARGUMENT, fitw_survey_primitive(ctx, survey, 0, &p));
    IS(FITW_E_ARGUMENT, fitw_survey_ids_view(ctx, survey, k, &view, &count));
    IS(FITW_E_ARGUMENT, fitw_survey_ids_view(ctx, survey, 0, NULL, &count));
    IS(FITW_E_ARGUMENT, fitw_survey_neighbours_view(ctx, survey, k, &view, &count));
    IS(FITW_E_ARGUMENT, fitw_survey_feature(ctx, survey, k, &feature));
    IS(FITW_E_ARGUMENT, fitw_survey_region(ctx, survey, k, &region));
    IS(FITW_E_ARGUMENT, fitw_survey_region(ctx, survey, SIZE_MAX, &region));
    TRUE_(none == NULL && feature == NULL && region == NULL);

    OK(fitw_context_cancel(ctx));
    IS(FITW_E_CANCELLED, fitw_survey_run(ctx, scan, NULL, &none));
    OK(fitw_context_resume(ctx));
    cancelling.struct_size = sizeof cancelling, cancelling.progress = stop, cancelling.progress_user = &calls;
    OK(fitw_context_create(&cancelling, &ctx));
    IS(FITW_E_CANCELLED, fitw_survey_run(ctx, scan, NULL, &none));
    TRUE_(calls >= 1 && none == NULL);
    OK(fitw_context_release(ctx));
    ctx = first;
}

/* With a smallest size of 20 mm the cylinders of 16, 10 and 8 mm and the bend go. */
static void of_large_ones(fitw_scan *scan)
{
    fitw_survey_options options = FITW_ZERO;
    fitw_survey_info info = FITW_ZERO;
    fitw_survey *survey = NULL;
    fitw_surveyed p = FITW_ZERO;
    options.struct_size = sizeof options, options.smallest_mm = 20.0;
    info.struct_size = sizeof info, p.struct_size = sizeof p;
    OK(fitw_survey_run(ctx, scan, &options, &survey));
    OK(fitw_survey_describe(ctx, survey, &info));
    OK(fitw_survey_primitive(ctx, survey, 1, &p));
    TRUE_(info.primitive_count == 2 && p.kind == FITW_KIND_PLANE && info.tube_count == 0);
    OK(fitw_survey_release(survey));
}

/* Three points: nothing is found, and that is no error. */
static void of_nothing(void)
{
    const double points[9] = {0, 0, 0, 1, 0, 0, 0, 1, 0};
    fitw_mesh mesh = FITW_ZERO;
    fitw_scan *scan = NULL;
    fitw_survey *survey = NULL;
    fitw_survey_info info = FITW_ZERO;
    fitw_proposed_datum datum = FITW_ZERO;
    mesh.struct_size = sizeof mesh, mesh.points = points, mesh.point_count = 3;
    info.struct_size = sizeof info, datum.struct_size = sizeof datum;
    OK(fitw_scan_create(ctx, &mesh, &scan));
    OK(fitw_survey_run(ctx, scan, NULL, &survey));
    OK(fitw_survey_describe(ctx, survey, &info));
    TRUE_(info.primitive_count == 0 && info.unclaimed_count == 3);
    OK(fitw_survey_datum(ctx, survey, &datum));
    TRUE_(datum.primary == FITW_SURVEY_NONE && datum.hole == FITW_SURVEY_NONE);
    OK(fitw_survey_release(survey));
    OK(fitw_scan_release(scan));
}

int main(void)
{
    machine m = make_more();
    fitw_mesh mesh = mesh_of(&m);
    fitw_scan *scan = NULL;
    fitw_survey *survey = NULL;
    fitw_survey_info info = FITW_ZERO;
    int32_t known = 0;
    OK(fitw_context_create(NULL, &ctx));
    OK(fitw_feature_known(text("survey"), &known));
    TRUE_(known == 1);
    OK(fitw_scan_create(ctx, &mesh, &scan));
    OK(fitw_survey_run(ctx, scan, NULL, &survey));
    what_is_refused(scan, survey);
    of_large_ones(scan);
    /* The survey keeps the scan. */
    OK(fitw_scan_release(scan));
    of_what_they_make(survey);
    of_primitives(survey, &m);
    by_place(survey);
    of_texts(survey);
    of_nothing();
    OK(fitw_survey_release(survey));
    info.struct_size = sizeof info;
    IS(FITW_E_HANDLE, fitw_survey_describe(ctx, survey, &info));
    IS(FITW_E_HANDLE, fitw_survey_release(survey));
    OK(fitw_survey_release(NULL));
    OK(fitw_context_release(ctx));
    free_machine(&m);
    puts("survey: ok");
    return 0;
}
