/* Growing along and fitting to every kind of surface, of known size; which points decide, and whether it is
 * that shape at all. */
#include "common.h"

#ifndef TURNS /* fewer under a memory checker */
#define TURNS 160
#define ROWS 60
#endif

typedef struct surface {
    int32_t kind;
    const char *fitter;
    double sizes[2];
    double from, to; /* height (cylinder, cone) or latitude (sphere, torus) */
} surface;

/* A place and the outward normal of a surface about the z axis; `v` from 0 to 1. */
static void place(const surface *s, double turn, double v, double *p, double *normal)
{
    const double at = s->from + (s->to - s->from) * v;
    double out, up, across, along;
    if (s->kind == FITW_KIND_CONE || s->kind == FITW_KIND_CYLINDER) {
        across = cos(s->sizes[1]), along = -sin(s->sizes[1]);
        out = s->sizes[0] + at * tan(s->sizes[1]), up = at;
    } else {
        const double ring = s->kind == FITW_KIND_TORUS ? s->sizes[0] : 0.0;
        const double tube = s->kind == FITW_KIND_TORUS ? s->sizes[1] : s->sizes[0];
        across = cos(at), along = sin(at);
        out = ring + tube * across, up = tube * along;
    }
    p[0] = out * cos(turn), p[1] = out * sin(turn), p[2] = up;
    normal[0] = across * cos(turn), normal[1] = across * sin(turn), normal[2] = along;
}

static fitw_scan *scan_of(const surface *s)
{
    static double points[TURNS * ROWS * 3];
    static uint32_t triangles[TURNS * ROWS * 6];
    machine m = {points, triangles, TURNS * ROWS, 0};
    fitw_mesh mesh;
    fitw_scan *scan = NULL;
    uint32_t state = 3;
    size_t i, j;
    for (j = 0; j < ROWS; ++j)
        for (i = 0; i < TURNS; ++i) {
            double *p = points + 3 * (j * TURNS + i), normal[3];
            const double off = scatter(&state);
            place(s, 6.283185307179586 * (double)i / TURNS, (double)j / (ROWS - 1), p, normal);
            p[0] += off * normal[0], p[1] += off * normal[1], p[2] += off * normal[2];
        }
    for (j = 0; j + 1 < ROWS; ++j)
        for (i = 0; i < TURNS; ++i) {
            const size_t k = (i + 1) % TURNS;
            quad(&m, j * TURNS + i, j * TURNS + k, (j + 1) * TURNS + k, (j + 1) * TURNS + i);
        }
    mesh = mesh_of(&m);
    OK(fitw_scan_create(ctx, &mesh, &scan));
    return scan;
}

static void grown_and_fitted(const surface *s)
{
    fitw_scan *scan = scan_of(s);
    fitw_region *region = NULL;
    fitw_fit *fit = NULL;
    fitw_feature *feature = NULL;
    fitw_shape shape = FITW_ZERO;
    fitw_uncertainty u = FITW_ZERO;
    fitw_quality quality = FITW_ZERO;
    fitw_feature_info info = FITW_ZERO;
    fitw_evidence evidence = FITW_ZERO;
    const uint32_t *ids;
    double pick[3], normal[3];
    size_t count, k;
    place(s, 0.7, 0.5, pick, normal);
    OK(fitw_region_grow(ctx, scan, pick, s->kind, NULL, &region));
    OK(fitw_region_ids_view(ctx, region, &ids, &count));
    /* All but the rows at the edges: at most 6 at each are within twice the resolution. */
    TRUE_(count >= TURNS * (ROWS - 12));
    OK(fitw_fit_region(ctx, text(s->fitter), region, NULL, &fit));
    shape.struct_size = sizeof shape, u.struct_size = sizeof u;
    OK(fitw_fit_shape(ctx, fit, &shape));
    OK(fitw_fit_uncertainty(ctx, fit, NULL, &u));
    TRUE_(shape.kind == s->kind);
    if (s->kind == FITW_KIND_CONE) /* its radius stands at its point */
        shape.size_1 -= shape.point_mm[2] * tan(s->sizes[1]);
    /* An expanded uncertainty holds 95 of 100: twice it is nowhere passed by chance. */
    TRUE_(u.size_1 > 0.0 && u.size_1 < 0.005 && fabs(shape.size_1 - s->sizes[0]) < 2.0 * u.size_1);
    TRUE_(u.size_2 < 0.005 && fabs(shape.size_2 - s->sizes[1]) <= 2.0 * u.size_2);
    TRUE_(hypot(shape.point_mm[0], shape.point_mm[1]) < 2.0 * u.position_mm);
    TRUE_(s->kind == FITW_KIND_SPHERE || fabs(shape.direction[2]) > 1.0 - 2.0 * u.tilt_rad * u.tilt_rad);
    quality.struct_size = sizeof quality, evidence.struct_size = sizeof evidence;
    OK(fitw_fit_quality(ctx, fit, &quality));
    TRUE_(quality.criterion == FITW_CRITERION_LEAST_SQUARES && quality.contact_count == 0);
    /* Even scatter over 0.02 mm, drawn for each point by itself. */
    TRUE_(fabs(quality.independent_mm - 0.02 / sqrt(12.0)) < 0.0003 && quality.smooth_mm < 0.001);
    TRUE_(quality.effective_points > 0.5 * (double)quality.points);
    for (k = 0; k < quality.evidence_count; ++k) {
        OK(fitw_fit_evidence(ctx, fit, k, &evidence));
        TRUE_(evidence.against.len > 2 && strlen(evidence.against.ptr) == evidence.against.len);
        TRUE_(evidence.probability > 1e-4 && evidence.amplitude_mm < 0.002);
    }
    IS(FITW_E_ARGUMENT, fitw_fit_evidence(ctx, fit, k, &evidence));
    OK(fitw_feature_from_fit(ctx, text("it"), fit, region, &feature));
    info.struct_size = sizeof info;
    OK(fitw_feature_describe(ctx, feature, &info));
    TRUE_(info.kind == s->kind && info.piece_count > 0);
    OK(fitw_feature_release(feature));
    OK(fitw_fit_release(fit));
    OK(fitw_region_release(region));
    OK(fitw_scan_release(scan));
}

/* A cone of 0.05 mm over 10 mm taken for a cylinder: the evidence says so, and how much. */
static void the_wrong_shape(void)
{
    const surface taper = {FITW_KIND_CONE, "builtin.cylinder", {8.0, 0.005}, -10.0, 10.0};
    fitw_scan *scan = scan_of(&taper);
    fitw_region *all = NULL;
    fitw_fit *fit = NULL;
    fitw_feature *feature = NULL, *moved = NULL;
    fitw_quality quality = FITW_ZERO;
    fitw_evidence evidence = FITW_ZERO, again = FITW_ZERO;
    fitw_pose pose = {{1, 0, 0, 0, 1, 0, 0, 0, 1}, {5, 6, 7}};
    size_t k, cones = 0;
    OK(fitw_region_all(ctx, scan, &all));
    OK(fitw_fit_region(ctx, text(taper.fitter), all, NULL, &fit));
    OK(fitw_feature_from_fit(ctx, text("pin"), fit, all, &feature));
    OK(fitw_feature_move(ctx, feature, &pose, &moved));
    quality.struct_size = sizeof quality, evidence.struct_size = sizeof evidence, again.struct_size = sizeof again;
    OK(fitw_fit_quality(ctx, fit, &quality));
    for (k = 0; k < quality.evidence_count; ++k) {
        OK(fitw_fit_evidence(ctx, fit, k, &evidence));
        OK(fitw_feature_evidence(ctx, moved, k, &again));
        TRUE_(again.amplitude_mm == evidence.amplitude_mm && again.against.ptr == evidence.against.ptr);
        if (strcmp(evidence.against.ptr, "cone") == 0) {
            TRUE_(fabs(evidence.amplitude_mm - 0.05) < 2.0 * evidence.uncertainty_mm);
            TRUE_(evidence.uncertainty_mm < 0.005 && evidence.probability < 1e-9);
            ++cones;
        }
    }
    TRUE_(cones == 1);
    IS(FITW_E_ARGUMENT, fitw_feature_evidence(ctx, moved, k, &again));
    OK(fitw_feature_release(moved));
    OK(fitw_feature_release(feature));
    OK(fitw_fit_release(fit));
    OK(fitw_region_release(all));
    OK(fitw_scan_release(scan));
}

static fitw_fit *by_criterion(const char *fitter, const double *xyz, size_t count, int32_t criterion)
{
    fitw_points points = FITW_ZERO;
    fitw_fit_options options = FITW_ZERO;
    fitw_fit *fit = NULL;
    points.struct_size = sizeof points, points.points = xyz, points.count = count;
    options.struct_size = sizeof options, options.criterion = criterion, options.flags = FITW_FIT_KEEP_OUTLIERS;
    OK(fitw_fit_points(ctx, text(fitter), &points, &options, &fit));
    return fit;
}

/* Extreme fits whose answers are known from theory, with the points that decide them. */
static void deciding_points(void)
{
    enum { INNER = 40 };
    double xyz[3 * (INNER + 4)];
    fitw_quality quality = FITW_ZERO;
    fitw_shape shape = FITW_ZERO;
    const uint32_t *ids;
    const double *places;
    fitw_fit *fit;
    size_t count, i;
    quality.struct_size = sizeof quality, shape.struct_size = sizeof shape;
    /* Chebyshev: two points above and two below whose joining lines cross hold the narrowest zone. */
    for (i = 0; i < INNER; ++i) {
        xyz[3 * i] = (double)(i % 8) - 3.5, xyz[3 * i + 1] = (double)(i / 8) - 2.0;
        xyz[3 * i + 2] = 0.3 * sin((double)i);
    }
    for (i = 0; i < 4; ++i) {
        double *p = xyz + 3 * (INNER + i);
        p[0] = i == 0 ? 10.0 : i == 1 ? -10.0 : 0.0, p[1] = i == 2 ? 10.0 : i == 3 ? -10.0 : 0.0;
        p[2] = i < 2 ? 0.5 : -0.5;
    }
    fit = by_criterion("builtin.plane", xyz, INNER + 4, FITW_CRITERION_MINIMUM_ZONE);
    OK(fitw_fit_shape(ctx, fit, &shape));
    OK(fitw_fit_quality(ctx, fit, &quality));
    TRUE_(fabs(quality.zone_mm - 1.0) < 1e-9 && fabs(shape.direction[2]) > 1.0 - 1e-12);
    TRUE_(quality.criterion == FITW_CRITERION_MINIMUM_ZONE && quality.contact_count == 4);
    OK(fitw_fit_contacts_view(ctx, fit, &ids, &count));
    TRUE_(count == 4);
    for (i = 0; i < 4; ++i)
        TRUE_(ids[i] == INNER + i);
    OK(fitw_fit_contact_points_view(ctx, fit, &places, &count));
    TRUE_(count == 4);
    for (i = 0; i < 12; ++i)
        TRUE_(fabs(places[i] - xyz[3 * INNER + i]) < 1e-12);
    OK(fitw_fit_release(fit));
    /* The circle through the corners of an acute triangle is the smallest that holds it. */
    for (i = 0; i < 3; ++i) {
        double *p = xyz + 3 * (INNER + i), turn = 0.3 + 2.1 * (double)i;
        p[0] = 6.0 * cos(turn), p[1] = 6.0 * sin(turn), p[2] = 0.0;
    }
    for (i = 0; i < INNER; ++i) {
        double *p = xyz + 3 * i, turn = 0.157 * (double)i, radius = 5.6 + 0.2 * sin(5.0 * turn);
        p[0] = radius * cos(turn), p[1] = radius * sin(turn), p[2] = 0.0;
    }
    fit = by_criterion("builtin.circle", xyz, INNER + 3, FITW_CRITERION_MINIMUM_CIRCUMSCRIBED);
    OK(fitw_fit_shape(ctx, fit, &shape));
    TRUE_(fabs(shape.size_1 - 6.0) < 1e-9 && hypot(shape.point_mm[0], shape.point_mm[1]) < 1e-9);
    OK(fitw_fit_contact_points_view(ctx, fit, &places, &count));
    TRUE_(count == 3);
    for (i = 0; i < 3; ++i)
        TRUE_(fabs(hypot(places[3 * i], places[3 * i + 1]) - 6.0) < 1e-9);
    OK(fitw_fit_release(fit));
    /* Least squares has none. */
    fit = by_criterion("builtin.circle", xyz, INNER + 3, FITW_CRITERION_LEAST_SQUARES);
    OK(fitw_fit_contact_points_view(ctx, fit, &places, &count));
    TRUE_(count == 0 && places == NULL);
    OK(fitw_fit_release(fit));
}

/* A feature keeps the points that decide it, and takes them along. */
static void deciding_points_move(void)
{
    const surface pin = {FITW_KIND_CYLINDER, "builtin.cylinder", {8.0, 0.0}, -10.0, 10.0};
    fitw_scan *scan = scan_of(&pin);
    fitw_region *all = NULL;
    fitw_fit *fit = NULL;
    fitw_feature *feature = NULL, *moved = NULL;
    fitw_fit_options options = FITW_ZERO;
    fitw_pose pose = {{0, -1, 0, 1, 0, 0, 0, 0, 1}, {5, 6, 7}};
    const double *here, *there;
    size_t count, again, i;
    options.struct_size = sizeof options, options.criterion = FITW_CRITERION_MAXIMUM_INSCRIBED;
    OK(fitw_region_all(ctx, scan, &all));
    OK(fitw_fit_region(ctx, text(pin.fitter), all, &options, &fit));
    OK(fitw_feature_from_fit(ctx, text("pin"), fit, all, &feature));
    OK(fitw_feature_move(ctx, feature, &pose, &moved));
    OK(fitw_fit_contact_points_view(ctx, fit, &here, &count));
    OK(fitw_feature_contact_points_view(ctx, moved, &there, &again));
    TRUE_(count >= 3 && again == count);
    for (i = 0; i < count; ++i) {
        TRUE_(fabs(there[3 * i] - (5.0 - here[3 * i + 1])) < 1e-12);
        TRUE_(fabs(there[3 * i + 1] - (6.0 + here[3 * i])) < 1e-12);
        TRUE_(fabs(there[3 * i + 2] - (7.0 + here[3 * i + 2])) < 1e-12);
    }
    OK(fitw_feature_release(feature));
    OK(fitw_feature_release(moved));
    OK(fitw_fit_release(fit));
    OK(fitw_region_release(all));
    OK(fitw_scan_release(scan));
}

int main(void)
{
    const surface all[] = {
        {FITW_KIND_SPHERE, "builtin.sphere", {12.0, 0.0}, -0.4, 1.2},
        {FITW_KIND_CYLINDER, "builtin.cylinder", {8.0, 0.0}, -10.0, 10.0},
        {FITW_KIND_CONE, "builtin.cone", {10.0, 0.3}, -12.0, 12.0},
        {FITW_KIND_TORUS, "builtin.torus", {20.0, 6.0}, -1.5, 1.5},
    };
    size_t k;
    OK(fitw_context_create(NULL, &ctx));
    for (k = 0; k < sizeof all / sizeof all[0]; ++k)
        grown_and_fitted(&all[k]);
    the_wrong_shape();
    deciding_points();
    deciding_points_move();
    OK(fitw_context_release(ctx));
    puts("shapes: ok");
    return 0;
}
