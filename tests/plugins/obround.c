/* The obround slot fitter against slots made here, whose truth is known. Called with the plug-in's library, and
 * the number of slots of each sort: of less than 60 the errors are not held against the covariance. */
#define _GNU_SOURCE
#include "host.h"

#define PI 3.14159265358979323846
enum { POINTS = 3000 };

/* The slot of the moment, anyhow in space. */
static double WIDTH = 9.0, LENGTH = 24.0, DEPTH = 8.0;
static const double CENTRE[3] = {310.0, -45.0, 122.0};
static double frame[3][3]; /* along, across, axis */
static double points[3 * POINTS], normals[3 * POINTS];

/* Parts of the wall: both ends and sides, as angles of the ends and fractions of the sides that are seen. */
typedef struct seen {
    double from[2], to[2]; /* of the ends at + and -, rad from one side to the other, 0 to pi */
    double side[2];        /* share of the sides at + and - */
} seen;
static const seen ALL = {{0.0, 0.0}, {PI, PI}, {1.0, 1.0}};

static double dot(const double *a, const double *b) { return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]; }

/* Turns the frame by a random amount. */
static void turn_frame(uint64_t *seed)
{
    double *x = frame[0], *y = frame[1], *z = frame[2], length;
    for (int k = 0; k < 3; ++k) z[k] = normal(seed), x[k] = normal(seed);
    length = sqrt(dot(z, z));
    for (int k = 0; k < 3; ++k) z[k] /= length;
    length = dot(x, z);
    for (int k = 0; k < 3; ++k) x[k] -= length * z[k];
    length = sqrt(dot(x, x));
    for (int k = 0; k < 3; ++k) x[k] /= length;
    for (int k = 0; k < 3; ++k) y[k] = z[(k + 1) % 3] * x[(k + 2) % 3] - z[(k + 2) % 3] * x[(k + 1) % 3];
}

/* Even over what is seen of the wall; noise along the normal; a share of points that are well off the wall. */
static void scan(const seen *part, double width, double length, double noise, double astray, uint64_t *seed)
{
    double radius = width / 2, half = length / 2 - radius, share[4], all = 0.0;
    for (int k = 0; k < 2; ++k) {
        share[k] = radius * (part->to[k] - part->from[k]);
        share[2 + k] = 2.0 * half * part->side[k];
    }
    for (int k = 0; k < 4; ++k) all += share[k];
    for (int i = 0; i < POINTS; ++i) {
        double at = uniform(seed) * all, off = noise * normal(seed), depth = (uniform(seed) - 0.5) * DEPTH, x, y, ux, uy;
        int piece = 0;
        while (piece < 3 && at > share[piece]) at -= share[piece++];
        double sign = piece % 2 ? -1.0 : 1.0;
        if (uniform(seed) < astray) off = (uniform(seed) < 0.5 ? -1.0 : 1.0) * (0.3 + 1.5 * uniform(seed));
        if (piece < 2) {
            double turn = part->from[piece] + at / radius - PI / 2;
            ux = sign * cos(turn), uy = sin(turn);
            x = sign * half + (radius + off) * ux, y = (radius + off) * uy;
        } else {
            ux = 0.0, uy = sign;
            x = at - half, y = sign * (radius + off);
        }
        for (int k = 0; k < 3; ++k) {
            points[3 * i + k] = CENTRE[k] + x * frame[0][k] + y * frame[1][k] + depth * frame[2][k];
            normals[3 * i + k] = -ux * frame[0][k] - uy * frame[1][k];
        }
    }
}

static int32_t fit(size_t count, int with_normals, double known_width)
{
    fitw_plugin_input input = {.point_count = count, .points_mm = points, .options = &known_width, .option_count = 1};
    input.normals = with_normals ? normals : NULL;
    return fitted(&input);
}

/* Errors against the truth: along and across, tilt about both, turn, width, length; with their uncertainties
 * of the covariance. */
static void errors(double error[7], double uncertainty[7])
{
    const double *centre = parameter("centre"), *axis = parameter("axis"), *direction = parameter("direction");
    double away[3], rows[7][11] = {{0.0}}, axis_sign = dot(axis, frame[2]) < 0.0 ? -1.0 : 1.0;
    double direction_sign = dot(direction, frame[0]) < 0.0 ? -1.0 : 1.0;
    for (int k = 0; k < 3; ++k) away[k] = centre[k] - CENTRE[k];
    error[0] = dot(away, frame[0]), error[1] = dot(away, frame[1]);
    error[2] = axis_sign * dot(axis, frame[0]), error[3] = axis_sign * dot(axis, frame[1]);
    error[4] = direction_sign * dot(direction, frame[1]);
    error[5] = *parameter("width") - WIDTH, error[6] = *parameter("length") - LENGTH;
    for (int k = 0; k < 3; ++k) {
        rows[0][k] = frame[0][k], rows[1][k] = frame[1][k];
        rows[2][3 + k] = frame[0][k], rows[3][3 + k] = frame[1][k], rows[4][6 + k] = frame[1][k];
    }
    rows[5][9] = rows[6][10] = 1.0;
    for (int e = 0; e < 7; ++e) {
        double variance = 0.0;
        for (int j = 0; j < 11; ++j)
            for (int k = 0; k < 11; ++k) variance += rows[e][j] * answer.covariance[11 * j + k] * rows[e][k];
        uncertainty[e] = sqrt(variance);
    }
}

/* The pieces lie on the fitted slot, and the outlines run as the interface says. */
static void check_pieces(void)
{
    const double *centre = parameter("centre"), *axis = parameter("axis"), *direction = parameter("direction");
    double across[3], ends = 0.0, sides = 0.0;
    int count[3] = {0, 0, 0};
    for (int k = 0; k < 3; ++k)
        across[k] = axis[(k + 1) % 3] * direction[(k + 2) % 3] - axis[(k + 2) % 3] * direction[(k + 1) % 3];
    TRUE_(answer.piece_count == 5);
    for (size_t i = 0; i < answer.piece_count; ++i) {
        const fitw_plugin_piece *p = &answer.pieces[i];
        const double *c = answer.corners[i], *a = p->direction, *z = p->zero;
        double from[3];
        TRUE_(p->struct_size == sizeof *p && fabs(dot(a, a) - 1.0) < 1e-12);
        if (p->extent == FITW_PLUGIN_EXTENT_PATCH) {
            /* Half way round lies the far end. */
            double u = 0.5 * (p->u_from + p->u_to);
            for (int k = 0; k < 3; ++k) {
                double square = a[(k + 1) % 3] * z[(k + 2) % 3] - a[(k + 2) % 3] * z[(k + 1) % 3];
                from[k] = p->point_mm[k] + p->size_1 * (cos(u) * z[k] + sin(u) * square) - centre[k];
            }
            TRUE_(p->shape == FITW_PLUGIN_SHAPE_CYLINDER && fabs(2.0 * p->size_1 - *parameter("width")) < 1e-9);
            TRUE_(fabs(fabs(dot(from, direction)) - *parameter("length") / 2.0) < 1e-9 && fabs(dot(from, across)) < 1e-9);
            TRUE_(fabs(p->v_to - p->v_from - DEPTH) < 0.1 && fabs(p->u_to - p->u_from - PI) < 1e-9);
            ends += dot(from, direction), count[0]++;
        } else if (p->extent == FITW_PLUGIN_EXTENT_OUTLINE) {
            double area[3] = {0.0, 0.0, 0.0};
            for (int n = 0; n < 4; ++n) {
                const double *s = c + 3 * n, *t = c + 3 * ((n + 1) % 4);
                for (int k = 0; k < 3; ++k)
                    area[k] += 0.5 * (s[(k + 1) % 3] * t[(k + 2) % 3] - s[(k + 2) % 3] * t[(k + 1) % 3]);
                for (int k = 0; k < 3; ++k) from[k] = s[k] - centre[k];
                TRUE_(fabs(fabs(dot(from, across)) - *parameter("width") / 2.0) < 1e-9);
                for (int k = 0; k < 3; ++k) from[k] = s[k] - p->point_mm[k];
                TRUE_(fabs(dot(from, a)) < 1e-9);
            }
            for (int k = 0; k < 3; ++k) from[k] = p->point_mm[k] - centre[k];
            TRUE_(p->shape == FITW_PLUGIN_SHAPE_PLANE && dot(from, a) < 0.0);
            TRUE_(fabs(dot(area, a) / ((LENGTH - WIDTH) * DEPTH) - 1.0) < 0.02);
            sides += dot(from, across), count[1]++;
        } else {
            TRUE_(p->shape == FITW_PLUGIN_SHAPE_LINE && p->extent == FITW_PLUGIN_EXTENT_SEGMENT);
            TRUE_(fabs(p->u_to - p->u_from - DEPTH) < 0.1 && fabs(fabs(dot(a, axis)) - 1.0) < 1e-12);
            count[2]++;
        }
    }
    TRUE_(count[0] == 2 && count[1] == 2 && count[2] == 1 && fabs(ends) < 1e-9 && fabs(sides) < 1e-9);
}

static int runs;

/* Many slots: errors as large as the covariance says, no more and no less. */
static void errors_are_as_large_as_said(const seen *part, int with_normals, double known_width, uint64_t seed)
{
    double squares[7] = {0.0}, error[7], uncertainty[7];
    for (int run = 0; run < runs; ++run) {
        turn_frame(&seed);
        scan(part, WIDTH, LENGTH, 0.02, 0.0, &seed);
        TRUE_(fit(POINTS, with_normals, known_width) == FITW_PLUGIN_OK);
        errors(error, uncertainty);
        check_pieces();
        for (int e = 0; e < 7; ++e) {
            TRUE_(fabs(error[e]) < 0.02);
            if (e == 5 && known_width > 0.0) {
                TRUE_(fabs(error[e]) < 1e-12 && fabs(uncertainty[e]) < 1e-12);
                continue;
            }
            TRUE_(fabs(error[e]) < 4.5 * uncertainty[e]);
            squares[e] += error[e] * error[e] / (uncertainty[e] * uncertainty[e]);
        }
    }
    /* Chi-square of 60 runs over 60: 0.1 % lie below 0.53, 0.1 % above 1.66. */
    for (int e = 0; e < 7; ++e) {
        printf("%s%.2f", e == 0 ? "error^2/u^2 " : " ", squares[e] / runs);
        TRUE_(runs < 60 || (e == 5 && known_width > 0.0) || (squares[e] > 0.53 * runs && squares[e] < 1.66 * runs));
    }
    printf("\n");
}

/* Slots of many sizes, each seen in another part, often without one of its sides, with outliers. */
static void any_slot_is_found(int count, uint64_t seed)
{
    double error[7], uncertainty[7];
    for (int run = 0; run < count; ++run) {
        seen part;
        turn_frame(&seed);
        WIDTH = 4.0 + 12.0 * uniform(&seed), LENGTH = WIDTH * (1.3 + 2.5 * uniform(&seed));
        DEPTH = 2.0 + 14.0 * uniform(&seed);
        for (int k = 0; k < 2; ++k) {
            part.from[k] = 0.9 * uniform(&seed), part.to[k] = PI - 0.9 * uniform(&seed);
            part.side[k] = uniform(&seed);
        }
        if (uniform(&seed) < 0.5) part.side[run % 2] = 0.0;
        scan(&part, WIDTH, LENGTH, 0.03, 0.05, &seed);
        TRUE_(fit(POINTS, run % 3 == 0, run % 5 == 0 ? WIDTH : 0.0) == FITW_PLUGIN_OK);
        errors(error, uncertainty);
        for (int e = 0; e < 7; ++e) TRUE_(fabs(error[e]) < 4.5 * uncertainty[e] + 1e-12);
    }
    WIDTH = 9.0, LENGTH = 24.0, DEPTH = 8.0;
}

static void outliers_are_found(uint64_t seed)
{
    double error[7], uncertainty[7];
    size_t wrong = 0;
    turn_frame(&seed);
    scan(&ALL, WIDTH, LENGTH, 0.02, 0.1, &seed);
    TRUE_(fit(POINTS, 0, 0.0) == FITW_PLUGIN_OK);
    errors(error, uncertainty);
    for (int e = 0; e < 7; ++e) TRUE_(fabs(error[e]) < 4.5 * uncertainty[e] && fabs(error[e]) < 0.005);
    /* 10 % of 3,000, give or take 3.5 standard deviations. */
    TRUE_(answer.rejected_count > 240 && answer.rejected_count < 365);
    for (size_t i = 0; i < answer.rejected_count; ++i) {
        double from[3];
        uint32_t n = answer.rejected[i];
        TRUE_(n < POINTS && (i == 0 || n > answer.rejected[i - 1]));
        for (int k = 0; k < 3; ++k) from[k] = points[3 * n + (uint32_t)k] - CENTRE[k];
        double x = fabs(dot(from, frame[0])), y = dot(from, frame[1]), beyond = fmax(x - (LENGTH - WIDTH) / 2.0, 0.0);
        wrong += fabs(hypot(beyond, y) - WIDTH / 2.0) < 0.06;
    }
    TRUE_(wrong <= 5);
}

static void refuses(int32_t state, const char *word)
{
    TRUE_(answer.state == state && strstr(answer.reason, word) != NULL && answer.piece_count == 0);
}

static void refusals(uint64_t seed)
{
    const seen one_end = {{0.0, 0.0}, {PI, 0.0}, {0.9, 0.9}}, sides = {{0.0, 0.0}, {0.0, 0.0}, {1.0, 1.0}};
    turn_frame(&seed);
    scan(&one_end, WIDTH, LENGTH, 0.02, 0.0, &seed);
    fit(POINTS, 1, 0.0), refuses(FITW_PLUGIN_E_UNDETERMINED, "both ends");
    scan(&sides, WIDTH, LENGTH, 0.02, 0.0, &seed);
    fit(POINTS, 1, 0.0), refuses(FITW_PLUGIN_E_UNDETERMINED, "ends");
    scan(&ALL, WIDTH, WIDTH, 0.02, 0.0, &seed);
    fit(POINTS, 1, 0.0), refuses(FITW_PLUGIN_E_UNDETERMINED, "cylinder");
    for (int i = 0; i < 3 * POINTS; ++i) points[i] = i % 3 == 2 ? 5.0 : 20.0 * uniform(&seed);
    fit(POINTS, 0, 0.0);
    TRUE_(answer.state != FITW_PLUGIN_OK && answer.reason[0] != '\0');
    for (int i = 0; i < 3 * POINTS; ++i) points[i] = i % 3 == 2 ? 5.0 : 20.0;
    fit(POINTS, 0, 0.0), refuses(FITW_PLUGIN_E_UNDETERMINED, "slot");
    fit(20, 0, 0.0), refuses(FITW_PLUGIN_E_TOO_FEW_POINTS, "28");
    scan(&ALL, WIDTH, LENGTH, 0.02, 0.0, &seed);
    points[301] = NAN;
    fit(POINTS, 0, 0.0), refuses(FITW_PLUGIN_E_INPUT, "finite");
    scan(&ALL, WIDTH, LENGTH, 0.02, 0.0, &seed);
    answer.memory_limit = 1000;
    fit(POINTS, 0, 0.0), refuses(FITW_PLUGIN_E_LIMIT, "memory");
    answer.memory_limit = 0;
    TRUE_(fit(POINTS, 0, 0.0) == FITW_PLUGIN_OK);
    for (long at = 1, all = answer.asked; at <= all; at += 1 + all / 20) {
        answer.cancel_at = at;
        TRUE_(fit(POINTS, 0, 0.0) == FITW_PLUGIN_E_CANCELLED && answer.asked < at + 3 && answer.piece_count == 0);
    }
    answer.cancel_at = 0;
}

/* Wrong versions are refused with the highest that the plug-in knows, and nothing else is written. */
static void versions(const char *path)
{
    fitw_plugin_table *table;
    TRUE_(entered(path, 9u << 16, 9u << 16, &table) == FITW_PLUGIN_E_VERSION);
    TRUE_(table->version >> 16 == 1 && table->fitters == NULL && table->fitter_count == 0);
    TRUE_(entered(path, 1, 0xffffu, &table) == FITW_PLUGIN_E_VERSION);
    TRUE_(entered(path, FITW_PLUGIN_OLDEST, FITW_PLUGIN_OLDEST, &table) == FITW_PLUGIN_OK);
    TRUE_(table->version == FITW_PLUGIN_OLDEST);
    TRUE_(entered(path, 1, 9u << 16, &table) == FITW_PLUGIN_OK && table->version >> 16 == 1);
    TRUE_(is(table->id, "fitwright.obround-c") && table->fitter_count == 1);
}

/* A large scan in memory of its own: time, and how often the host is asked. */
static void many(size_t count, uint64_t seed)
{
    double *large = malloc(3 * count * sizeof *large), none = 0.0, error[7], uncertainty[7];
    fitw_plugin_input input = {.point_count = count, .points_mm = large, .options = &none, .option_count = 1};
    turn_frame(&seed);
    for (size_t i = 0; i < count; i += POINTS) {
        scan(&ALL, WIDTH, LENGTH, 0.02, 0.01, &seed);
        memcpy(large + 3 * i, points, (count - i < POINTS ? count - i : POINTS) * 3 * sizeof *large);
    }
    clock_t start = clock();
    TRUE_(fitted(&input) == FITW_PLUGIN_OK);
    printf("%zu points: %.2f s, asked at least every %.0f ms\n", count, (double)(clock() - start) / CLOCKS_PER_SEC,
           1e3 * (double)answer.longest / CLOCKS_PER_SEC);
    TRUE_(answer.longest < CLOCKS_PER_SEC / 20);
    errors(error, uncertainty);
    for (int e = 0; e < 7; ++e) TRUE_(fabs(error[e]) < 4.5 * uncertainty[e] && fabs(error[e]) < 0.001);
    free(large);
}

int main(int argc, char **argv)
{
    /* One side hidden, and less than half of each end. */
    const seen partly = {{1.0, 1.2}, {PI, PI}, {0.8, 0.0}};
    TRUE_(argc == 3);
    runs = atoi(argv[2]);
    versions(argv[1]);
    load(argv[1], "fitwright.obround");
    refusals(6);
    errors_are_as_large_as_said(&ALL, 0, 0.0, 1);
    errors_are_as_large_as_said(&ALL, 1, WIDTH, 2);
    errors_are_as_large_as_said(&partly, 1, 0.0, 3);
    errors_are_as_large_as_said(&partly, 0, 0.0, 4);
    any_slot_is_found(2 * runs, 8);
    outliers_are_found(5);
    many(runs < 60 ? 30000 : 1000000, 7);
    free(answer.rejected);
    printf("obround: ok\n");
    return 0;
}
