/* Shapes fitted together, what the noise of a scan is known to be, and what a reference and the scanner's
 * maker add to an uncertainty. */
#include "common.h"

#define PI 3.14159265358979323846

#ifndef JOURNAL /* fewer under a memory checker */
#define JOURNAL 2000
#endif

static int near_to(double a, double b, double within) { return fabs(a - b) <= within; }

/* A journal about the line through (x, 0, 0) along z, seen over `arc` rad, z = low to low + 10. */
static fitw_points journal(double *xyz, double radius, double x, double arc, double low)
{
    static uint32_t state = 7;
    fitw_points points = FITW_ZERO;
    size_t i;
    for (i = 0; i < JOURNAL; ++i) {
        const double turn = arc * ((double)(i % 50) / 50.0 - 0.5), r = radius + scatter(&state);
        xyz[3 * i] = x + r * cos(turn), xyz[3 * i + 1] = r * sin(turn);
        xyz[3 * i + 2] = low + 500.0 / JOURNAL * (double)(i / 50);
    }
    points.struct_size = sizeof points;
    points.points = xyz;
    points.count = JOURNAL;
    points.noise_mm = 0.02 / sqrt(12.0);
    return points;
}

static fitw_shape shape_of(fitw_fit *fit)
{
    fitw_shape shape = FITW_ZERO;
    shape.struct_size = sizeof shape;
    OK(fitw_fit_shape(ctx, fit, &shape));
    return shape;
}

static void a_shaft_line(void)
{
    static double xyz[3][3 * JOURNAL];
    fitw_points points[3];
    fitw_group_member members[3];
    fitw_fit *fits[3] = {NULL, NULL, NULL}, *alone = NULL;
    fitw_constraint_cost cost = FITW_ZERO;
    fitw_shape shapes[3];
    fitw_uncertainty u = FITW_ZERO;
    const double radii[3] = {5.0, 8.0, 12.0};
    const double arcs[3] = {2.0 * PI, 2.0 * PI, 10.0 * PI / 180.0};
    fitw_status status;
    size_t k;
    memset(members, 0, sizeof members);
    for (k = 0; k < 3; ++k) {
        points[k] = journal(xyz[k], radii[k], 0.0, arcs[k], 20.0 * (double)k);
        members[k].kind = FITW_KIND_CYLINDER;
        members[k].points = &points[k];
    }
    cost.struct_size = sizeof cost, u.struct_size = sizeof u;
    OK(fitw_group_fit(ctx, members, 3, 0, FITW_GROUP_COAXIAL, NULL, fits, &cost));
    for (k = 0; k < 3; ++k)
        shapes[k] = shape_of(fits[k]);
    for (k = 1; k < 3; ++k) {
        double on_axis;
        fitw_shape line = shapes[0];
        line.kind = FITW_KIND_LINE;
        OK(fitw_shape_distances(ctx, &line, shapes[k].point_mm, 1, 0, &on_axis));
        TRUE_(on_axis < 1e-10 && memcmp(shapes[k].direction, shapes[0].direction, 24) == 0);
    }
    for (k = 0; k < 3; ++k) {
        OK(fitw_fit_uncertainty(ctx, fits[k], NULL, &u));
        TRUE_(fabs(shapes[k].size_1 - radii[k]) < 2.0 * u.size_1 && u.size_1 < 0.003);
    }
    /* Each further shape gives up two shifts and two turns. */
    TRUE_(cost.freedoms == 8 && cost.probability > 1e-4 && cost.probability <= 1.0);
    TRUE_(near_to(cost.sigma_mm, 0.02 / sqrt(12.0), 3e-4));
    /* By itself, ten degrees of arc leave the third open. */
    status = fitw_fit_points(ctx, text("builtin.cylinder"), &points[2], NULL, &alone);
    if (status == FITW_OK) {
        OK(fitw_fit_uncertainty(ctx, alone, NULL, &u));
        TRUE_(u.size_1 > 0.05);
        OK(fitw_fit_release(alone));
    } else {
        TRUE_(status == FITW_E_UNDETERMINED);
    }
    for (k = 0; k < 3; ++k)
        OK(fitw_fit_release(fits[k]));
    /* A journal 0.05 mm off the other's axis does not obey, and that shows. A common axis tilted by a leaves
     * a^2 10^2 / 24 of the tilt and (0.05 - 20 a)^2 / 8 of the offset in the mean square, least 2.404e-5. */
    points[1] = journal(xyz[1], radii[1], 0.05, arcs[1], 20.0);
    OK(fitw_group_fit(ctx, members, 2, sizeof members[0], FITW_GROUP_COAXIAL, NULL, fits, &cost));
    TRUE_(cost.freedoms == 4 && cost.probability < 1e-9);
    TRUE_(near_to(cost.sigma_mm / cost.free_sigma_mm, sqrt(1.0 + 2.404e-5 / (0.02 * 0.02 / 12.0)), 0.04));
    for (k = 0; k < 2; ++k)
        OK(fitw_fit_release(fits[k]));
}

/* Balls of 5 and 9 mm about one centre; pads in one plane; faces square to each other. */
static void other_relations(void)
{
    static double xyz[2][3 * JOURNAL];
    fitw_points points[2];
    fitw_group_member members[2];
    fitw_fit *fits[2];
    fitw_constraint_cost cost = FITW_ZERO;
    fitw_shape a, b;
    uint32_t state = 11;
    const int32_t relations[4] = {FITW_GROUP_CONCENTRIC, FITW_GROUP_COPLANAR, FITW_GROUP_PARALLEL,
                                  FITW_GROUP_PERPENDICULAR};
    const int32_t freedoms[4] = {3, 3, 2, 1};
    size_t i, k, r;
    memset(members, 0, sizeof members);
    cost.struct_size = sizeof cost;
    for (r = 0; r < 4; ++r) {
        for (k = 0; k < 2; ++k) {
            memset(&points[k], 0, sizeof points[k]);
            points[k].struct_size = sizeof points[k], points[k].points = xyz[k], points[k].count = JOURNAL;
            members[k].kind = r == 0 ? FITW_KIND_SPHERE : FITW_KIND_PLANE, members[k].points = &points[k];
            for (i = 0; i < JOURNAL; ++i) {
                double *p = xyz[k] + 3 * i, off = scatter(&state);
                const double u = (double)(i % 50) / 49.0 - 0.5, v = (double)(i / 50) / (JOURNAL / 50 - 1) - 0.5;
                if (r == 0) {
                    const double radius = (k == 0 ? 5.0 : 9.0) + off;
                    p[0] = 1.0 + radius * cos(2 * v) * cos(6 * u), p[1] = radius * cos(2 * v) * sin(6 * u);
                    p[2] = radius * sin(2 * v);
                } else if (r == 3 && k == 1) {
                    p[0] = 30.0 + off, p[1] = 20.0 * u, p[2] = 20.0 * v;
                } else {
                    p[0] = 20.0 * u + 40.0 * (double)k, p[1] = 20.0 * v, p[2] = off + (r == 2 ? 3.0 * (double)k : 0.0);
                }
            }
        }
        fits[0] = fits[1] = NULL;
        OK(fitw_group_fit(ctx, members, 2, 0, relations[r], NULL, fits, &cost));
        a = shape_of(fits[0]), b = shape_of(fits[1]);
        TRUE_(cost.freedoms == freedoms[r] && cost.probability > 1e-4);
        if (r == 0) {
            TRUE_(memcmp(a.point_mm, b.point_mm, 24) == 0 && near_to(a.point_mm[0], 1.0, 0.002));
            TRUE_(near_to(a.size_1, 5.0, 0.002) && near_to(b.size_1, 9.0, 0.002));
        } else {
            const double dot = a.direction[0] * b.direction[0] + a.direction[1] * b.direction[1] +
                               a.direction[2] * b.direction[2];
            double off;
            TRUE_(near_to(fabs(dot), r == 3 ? 0.0 : 1.0, 1e-14));
            OK(fitw_shape_distances(ctx, &a, b.point_mm, 1, 0, &off));
            TRUE_(r == 3 || near_to(fabs(off), r == 2 ? 3.0 : 0.0, r == 1 ? 1e-12 : 0.005));
        }
        OK(fitw_fit_release(fits[0]));
        OK(fitw_fit_release(fits[1]));
    }
}

static fitw_region *grown(fitw_scan *scan, const double *pick, int32_t kind, double trim)
{
    fitw_grow_options options = FITW_ZERO;
    fitw_region *region = NULL;
    options.struct_size = sizeof options, options.trim_mm = trim;
    OK(fitw_region_grow(ctx, scan, pick, kind, &options, &region));
    return region;
}

static const double ON_DECK[3] = {20.0, 0.0, 0.1}, ON_WALL[3] = {7.9, 0.0, -3.0};

/* Regions of a scan: the deck, and its hole square to it. A group's fit makes a feature like any other. */
static void of_regions(fitw_scan *scan)
{
    fitw_region *deck = grown(scan, ON_DECK, FITW_KIND_PLANE, 0.0);
    fitw_region *wall = grown(scan, ON_WALL, FITW_KIND_CYLINDER, 0.0);
    fitw_group_member members[2];
    fitw_fit *fits[2] = {NULL, NULL};
    fitw_feature *feature = NULL;
    fitw_feature_info info = FITW_ZERO;
    fitw_constraint_cost own = FITW_ZERO;
    fitw_shape a, b;
    memset(members, 0, sizeof members);
    members[0].kind = FITW_KIND_PLANE, members[0].region = deck;
    members[1].kind = FITW_KIND_CYLINDER, members[1].region = wall;
    OK(fitw_group_fit(ctx, members, 2, 0, FITW_GROUP_PARALLEL, NULL, fits, NULL));
    a = shape_of(fits[0]), b = shape_of(fits[1]);
    TRUE_(near_to(fabs(a.direction[2]), 1.0, 1e-6) && near_to(b.size_1, HOLE_RADIUS, 0.003));
    TRUE_(near_to(fabs(a.direction[0] * b.direction[0] + a.direction[1] * b.direction[1] +
                       a.direction[2] * b.direction[2]), 1.0, 1e-14));
    own.struct_size = sizeof own, info.struct_size = sizeof info;
    OK(fitw_fit_constraint_cost(ctx, fits[1], &own));
    TRUE_(own.freedoms == 0);
    OK(fitw_feature_from_fit(ctx, text("bore"), fits[1], wall, &feature));
    OK(fitw_feature_describe(ctx, feature, &info));
    TRUE_(info.kind == FITW_KIND_CYLINDER && strcmp(info.fitter.ptr, "builtin.cylinder") == 0);
    OK(fitw_feature_release(feature));
    OK(fitw_fit_release(fits[0]));
    OK(fitw_fit_release(fits[1]));
    OK(fitw_region_release(wall));
    OK(fitw_region_release(deck));
}

static void refused(fitw_scan *scan)
{
    static double xyz[3 * JOURNAL];
    fitw_points points = journal(xyz, 5.0, 0.0, 2.0 * PI, 0.0);
    fitw_region *wall = grown(scan, ON_WALL, FITW_KIND_CYLINDER, 0.0);
    fitw_covariance reference = FITW_ZERO;
    fitw_fit_options options = FITW_ZERO;
    fitw_group_member members[2];
    fitw_fit *fits[2] = {NULL, NULL};
    char message[300];
    memset(members, 0, sizeof members);
    members[0].kind = members[1].kind = FITW_KIND_CYLINDER;
    members[0].points = members[1].points = &points;
    options.struct_size = sizeof options, reference.struct_size = sizeof reference;
    IS(FITW_E_ARGUMENT, fitw_group_fit(ctx, members, 1, 0, FITW_GROUP_COAXIAL, NULL, fits, NULL));
    IS(FITW_E_ARGUMENT, fitw_group_fit(ctx, members, SIZE_MAX, 0, FITW_GROUP_COAXIAL, NULL, fits, NULL));
    IS(FITW_E_ARGUMENT, fitw_group_fit(ctx, members, 2, 8, FITW_GROUP_COAXIAL, NULL, fits, NULL));
    IS(FITW_E_ARGUMENT, fitw_group_fit(ctx, members, 2, 0, 99, NULL, fits, NULL));
    IS(FITW_E_ARGUMENT, fitw_group_fit(ctx, members, 2, 0, FITW_GROUP_COPLANAR, NULL, fits, NULL));
    IS(FITW_E_ARGUMENT, fitw_group_fit(ctx, members, 2, 0, FITW_GROUP_COAXIAL, NULL, NULL, NULL));
    options.criterion = FITW_CRITERION_MINIMUM_ZONE;
    IS(FITW_E_ARGUMENT, fitw_group_fit(ctx, members, 2, 0, FITW_GROUP_COAXIAL, &options, fits, NULL));
    options.criterion = 0, options.reference = &reference;
    IS(FITW_E_ARGUMENT, fitw_group_fit(ctx, members, 2, 0, FITW_GROUP_COAXIAL, &options, fits, NULL));
    members[1].region = wall;
    IS(FITW_E_ARGUMENT, fitw_group_fit(ctx, members, 2, 0, FITW_GROUP_COAXIAL, NULL, fits, NULL));
    members[1].region = NULL, members[1].points = NULL;
    IS(FITW_E_ARGUMENT, fitw_group_fit(ctx, members, 2, 0, FITW_GROUP_COAXIAL, NULL, fits, NULL));
    OK(fitw_context_error_message(ctx, message, sizeof message, NULL));
    TRUE_(strstr(message, "members[1]") != NULL);
    members[1].region = (const fitw_region *)(const void *)scan;
    IS(FITW_E_HANDLE, fitw_group_fit(ctx, members, 2, 0, FITW_GROUP_COAXIAL, NULL, fits, NULL));
    TRUE_(fits[0] == NULL && fits[1] == NULL);
    reference.matrix[8 * 3 + 3] = NAN;
    IS(FITW_E_ARGUMENT, fitw_fit_region(ctx, text("builtin.cylinder"), wall, &options, fits));
    options.reference = NULL, options.noise = (const fitw_noise *)(const void *)wall;
    IS(FITW_E_HANDLE, fitw_fit_region(ctx, text("builtin.cylinder"), wall, &options, fits));
    TRUE_(fits[0] == NULL);
    OK(fitw_region_release(wall));
}

/* A direction that was fitted itself: its own tilt is the tilt of what is held parallel to it. */
static void a_reference(fitw_scan *scan)
{
    fitw_region *deck = grown(scan, ON_DECK, FITW_KIND_PLANE, 0.0);
    fitw_region *wall = grown(scan, ON_WALL, FITW_KIND_CYLINDER, 0.0);
    fitw_fit *face = NULL, *exact = NULL, *held = NULL;
    fitw_fit_options options = FITW_ZERO;
    fitw_constraint parallel = FITW_ZERO;
    fitw_covariance tilt = FITW_ZERO;
    fitw_uncertainty of_face = FITW_ZERO, u = FITW_ZERO;
    OK(fitw_fit_region(ctx, text("builtin.plane"), deck, NULL, &face));
    tilt.struct_size = sizeof tilt, of_face.struct_size = sizeof of_face, u.struct_size = sizeof u;
    OK(fitw_fit_covariance(ctx, face, NULL, &tilt));
    OK(fitw_fit_uncertainty(ctx, face, NULL, &of_face));
    parallel.kind = FITW_CONSTRAINT_PARALLEL;
    memcpy(parallel.vector, shape_of(face).direction, sizeof parallel.vector);
    options.struct_size = sizeof options, options.constraints = &parallel, options.constraint_count = 1;
    OK(fitw_fit_region(ctx, text("builtin.cylinder"), wall, &options, &exact));
    options.reference = &tilt;
    OK(fitw_fit_region(ctx, text("builtin.cylinder"), wall, &options, &held));
    OK(fitw_fit_uncertainty(ctx, exact, NULL, &u));
    TRUE_(u.tilt_rad == 0.0);
    OK(fitw_fit_uncertainty(ctx, held, NULL, &u));
    TRUE_(of_face.tilt_rad > 0.0 && near_to(u.tilt_rad / of_face.tilt_rad, 1.0, 1e-6));
    OK(fitw_fit_release(held));
    OK(fitw_fit_release(exact));
    OK(fitw_fit_release(face));
    OK(fitw_region_release(wall));
    OK(fitw_region_release(deck));
}

#define SIDE_POINTS 90
#define STEP 0.5

/* Slow noise: plane waves whose wave numbers are normal deviates of 1 / length make a field with the
 * correlation exp(-d^2 / 2 length^2). */
typedef struct waves {
    double k[60][3];
} waves;

static double uniform(uint32_t *state)
{
    return scatter(state) / 0.02 + 0.5;
}

static double normal(uint32_t *state)
{
    double sum = -6.0;
    int i;
    for (i = 0; i < 12; ++i)
        sum += uniform(state);
    return sum;
}

static double field(const waves *w, double x, double y, double deviation)
{
    double sum = 0.0;
    int i;
    for (i = 0; i < 60; ++i)
        sum += cos(w->k[i][0] * x + w->k[i][1] * y + w->k[i][2]);
    return deviation * sum / sqrt(30.0);
}

/* The variance of the mean of the field over a square patch, from its correlation. */
static double patch_deviation(int side, double length, double deviation)
{
    double sum = 0.0;
    int i, j;
    for (i = 1 - side; i < side; ++i)
        for (j = 1 - side; j < side; ++j) {
            const double d2 = STEP * STEP * (double)(i * i + j * j);
            sum += (double)(side - abs(i)) * (double)(side - abs(j)) * exp(-0.5 * d2 / (length * length));
        }
    return deviation * sqrt(sum) / (double)(side * side);
}

static double offset_deviation(fitw_fit *fit)
{
    fitw_covariance c = FITW_ZERO;
    c.struct_size = sizeof c;
    OK(fitw_fit_covariance(ctx, fit, NULL, &c));
    return sqrt(c.matrix[8 * 2 + 2]);
}

static void noise_is_known(void)
{
    enum { PATCH = 8 };
    static double face[3 * SIDE_POINTS * SIDE_POINTS], patch[3 * PATCH * PATCH];
    const double length = 3.0, smooth = 0.01, white = 0.004;
    fitw_points all = FITW_ZERO, few = FITW_ZERO;
    fitw_fit_options options = FITW_ZERO;
    fitw_fit *large = NULL, *small = NULL, *exact = NULL;
    fitw_noise *pooled = NULL, *independent = NULL, *none = NULL;
    fitw_quality quality = FITW_ZERO;
    uint32_t state = 5;
    waves w;
    double alone, known, truth;
    const fitw_fit *fits[2];
    size_t n = 0;
    int i, j;
    for (i = 0; i < 60; ++i) {
        w.k[i][0] = normal(&state) / length, w.k[i][1] = normal(&state) / length;
        w.k[i][2] = 2.0 * PI * uniform(&state);
    }
    for (i = 0; i < SIDE_POINTS; ++i)
        for (j = 0; j < SIDE_POINTS; ++j) {
            double *p = face + 3 * (i * SIDE_POINTS + j);
            p[0] = STEP * i, p[1] = STEP * j;
            p[2] = field(&w, p[0], p[1], smooth) + white * normal(&state);
            if (i >= 40 && i < 40 + PATCH && j >= 40 && j < 40 + PATCH)
                memcpy(patch + 3 * n++, p, 24);
        }
    TRUE_(n == PATCH * PATCH);
    all.struct_size = few.struct_size = sizeof all, options.struct_size = sizeof options;
    all.points = face, all.count = SIDE_POINTS * SIDE_POINTS, few.points = patch, few.count = n;
    quality.struct_size = sizeof quality;
    OK(fitw_fit_points(ctx, text("builtin.plane"), &all, NULL, &large));
    OK(fitw_fit_quality(ctx, large, &quality));
    /* The planted noise is found: its parts, about its length, and what it leaves of 8,100 points. Some of
     * the independent part goes into fields that are supposed to be shorter. */
    TRUE_(quality.independent_mm > white / 2.0 && quality.independent_mm < 2.0 * white);
    TRUE_(near_to(quality.smooth_mm, smooth, 0.3 * smooth));
    TRUE_(quality.smooth_length_mm > length / 2.0 && quality.smooth_length_mm < 2.0 * length);
    TRUE_(quality.effective_points < 500.0);

    /* Known to be independent: sigma / sqrt(n). */
    OK(fitw_noise_independent(ctx, &independent));
    options.noise = independent;
    OK(fitw_fit_points(ctx, text("builtin.plane"), &all, &options, &small));
    OK(fitw_fit_quality(ctx, small, &quality));
    TRUE_(near_to(offset_deviation(small) / (quality.sigma_mm / sqrt((double)all.count)), 1.0, 0.01));
    OK(fitw_fit_release(small));

    /* A patch as small as the slow noise is long cannot show it; the face's fit tells of it. */
    OK(fitw_fit_points(ctx, text("builtin.plane"), &few, &options, &small));
    alone = offset_deviation(small);
    OK(fitw_fit_release(small));
    fits[0] = fits[1] = large;
    OK(fitw_noise_pool(ctx, fits, 1, NULL, 0, &pooled));
    options.noise = pooled;
    OK(fitw_fit_points(ctx, text("builtin.plane"), &few, &options, &small));
    known = offset_deviation(small);
    truth = hypot(patch_deviation(PATCH, length, smooth), white / PATCH);
    TRUE_(alone < 0.2 * truth && known > 0.5 * truth && known < 3.0 * truth);
    OK(fitw_fit_release(small));

    /* Nothing to tell: no fits, or points without scatter. */
    IS(FITW_E_UNDETERMINED, fitw_noise_pool(ctx, NULL, 0, NULL, 0, &none));
    few.count = 3;
    OK(fitw_fit_points(ctx, text("builtin.plane"), &few, NULL, &exact));
    fits[0] = exact;
    IS(FITW_E_UNDETERMINED, fitw_noise_pool(ctx, fits, 1, NULL, 0, &none));
    OK(fitw_fit_release(exact));
    IS(FITW_E_HANDLE, fitw_noise_pool(ctx, fits, 2, NULL, 0, &none));
    IS(FITW_E_ARGUMENT, fitw_noise_pool(ctx, NULL, 2, NULL, 0, &none));
    TRUE_(none == NULL);
    OK(fitw_noise_release(pooled));
    OK(fitw_noise_release(independent));
    IS(FITW_E_HANDLE, fitw_noise_release(independent));
    OK(fitw_noise_release(NULL));
    OK(fitw_fit_release(large));
}

/* Features tell of the noise too, and a hole is found with it; maker's errors of length are added. */
static void of_features(fitw_scan *scan)
{
    fitw_region *deck = grown(scan, ON_DECK, FITW_KIND_PLANE, -1.0);
    fitw_fit *fit = NULL;
    fitw_feature *face = NULL, *hole = NULL, *again = NULL, *wider = NULL;
    const fitw_feature *features[1];
    fitw_noise *noise = NULL;
    fitw_hole_search search = FITW_ZERO;
    fitw_fit_options options = FITW_ZERO;
    fitw_uncertainty u = FITW_ZERO, v = FITW_ZERO;
    fitw_length_error error = {0.02, 0.0001};
    double deviation = 0.0;
    OK(fitw_fit_region(ctx, text("builtin.plane"), deck, NULL, &fit));
    OK(fitw_feature_from_fit(ctx, text("deck"), fit, deck, &face));
    features[0] = face;
    OK(fitw_noise_pool(ctx, NULL, 0, features, 1, &noise));
    search.struct_size = sizeof search, search.name = text("hole");
    search.face = face, search.face_region = deck;
    memcpy(search.pick_mm, ON_WALL, sizeof ON_WALL);
    options.struct_size = sizeof options;
    OK(fitw_feature_find_hole(ctx, &search, &options, &hole, NULL));
    options.noise = noise;
    OK(fitw_feature_find_hole(ctx, &search, &options, &again, NULL));
    u.struct_size = v.struct_size = sizeof u;
    OK(fitw_feature_uncertainty(ctx, hole, NULL, &u));
    OK(fitw_feature_uncertainty(ctx, again, NULL, &v));
    /* The scatter is independent, as both find. */
    TRUE_(v.size_1 != u.size_1 && near_to(v.size_1 / u.size_1, 1.0, 0.2));

    /* By hand: (0.02 + 0.0001 * 16) / sqrt(3) over the diameter, half of it over the radius. */
    OK(fitw_length_error_deviation(ctx, &error, 2.0 * HOLE_RADIUS, &deviation));
    TRUE_(near_to(deviation, 0.0216 / sqrt(3.0), 1e-15));
    OK(fitw_feature_add_length_error(ctx, hole, &error, &wider));
    OK(fitw_feature_uncertainty(ctx, wider, NULL, &v));
    TRUE_(near_to(v.size_1, hypot(u.size_1, deviation), 1e-6) && v.tilt_rad > u.tilt_rad);
    TRUE_(v.position_mm >= u.position_mm);
    OK(fitw_feature_release(wider));
    wider = NULL;
    error.per_length = 0.05 * 1000.0;
    IS(FITW_E_ARGUMENT, fitw_feature_add_length_error(ctx, hole, &error, &wider));
    IS(FITW_E_ARGUMENT, fitw_length_error_deviation(ctx, &error, 1.0, &deviation));
    error.per_length = 0.0, error.fixed_mm = -1.0;
    IS(FITW_E_ARGUMENT, fitw_length_error_deviation(ctx, &error, 1.0, &deviation));
    error.fixed_mm = 1.0;
    IS(FITW_E_ARGUMENT, fitw_length_error_deviation(ctx, &error, NAN, &deviation));
    IS(FITW_E_ARGUMENT, fitw_length_error_deviation(ctx, NULL, 1.0, &deviation));
    TRUE_(wider == NULL && near_to(deviation, 0.0216 / sqrt(3.0), 1e-15));
    OK(fitw_noise_release(noise));
    OK(fitw_feature_release(again));
    OK(fitw_feature_release(hole));
    OK(fitw_feature_release(face));
    OK(fitw_fit_release(fit));
    OK(fitw_region_release(deck));
}

int main(void)
{
    machine m = make_machine();
    fitw_mesh mesh = mesh_of(&m);
    fitw_scan *scan = NULL;
    OK(fitw_context_create(NULL, &ctx));
    OK(fitw_scan_create(ctx, &mesh, &scan));
    a_shaft_line();
    other_relations();
    of_regions(scan);
    refused(scan);
    a_reference(scan);
    noise_is_known();
    of_features(scan);
    OK(fitw_scan_release(scan));
    OK(fitw_context_release(ctx));
    free_machine(&m);
    puts("together: ok");
    return 0;
}
