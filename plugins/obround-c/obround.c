/*
 * A plug-in in C11: fits an obround slot (two half cylinders joined by two flat sides) to points of its wall.
 * The mathematics is in slot.h; here is what a plug-in is.
 *
 * Parameters: centre, axis, direction (of the long side), width, length (over all). Pieces: the two half
 * cylinders, the two flat sides, the axis as a segment. Along the axis they reach as far as the points do, and
 * the centre is in the middle of that: its place along the axis has no uncertainty of its own.
 * Covariance: the residual variance times the inverse of J'J, for noise that is independent from point to point.
 */
#include "slot.h"

enum { ROWS = 11 }; /* of the covariance: three places or directions, two numbers */
/* Largest relative standard uncertainty of width and length, and of tilt in rad, that still is an answer. */
#define VAGUE 0.05

static int32_t fails(const work *w, int32_t state, const char *reason)
{
    fitw_plugin_text text = {(const uint8_t *)reason, strlen(reason)};
    w->call->reason(w->call, text);
    return state;
}
#define UNDETERMINED(w, reason) fails(w, FITW_PLUGIN_E_UNDETERMINED, reason)

static void report_pieces(const work *w, const slot *s, double depth)
{
    static const size_t corners = 4;
    const double *x = s->frame[0], *y = s->frame[1], *z = s->frame[2];
    fitw_plugin_piece piece = {.struct_size = sizeof piece};
    for (int side = 1; side >= -1; side -= 2) {
        double outline[12];
        piece.shape = FITW_PLUGIN_SHAPE_CYLINDER, piece.extent = FITW_PLUGIN_EXTENT_PATCH;
        piece.size_1 = s->radius, piece.u_from = 0.0, piece.u_to = PI, piece.v_from = -depth, piece.v_to = depth;
        for (int k = 0; k < 3; ++k) {
            piece.point_mm[k] = w->origin[k] + s->centre[k] + side * s->half * x[k];
            piece.direction[k] = piece.pole[k] = z[k];
            piece.zero[k] = -side * y[k]; /* from one side over the end to the other */
        }
        w->call->piece(w->call, &piece);
        piece.shape = FITW_PLUGIN_SHAPE_PLANE, piece.extent = FITW_PLUGIN_EXTENT_OUTLINE, piece.size_1 = 0.0;
        piece.outline_mm = outline, piece.loop_sizes = &corners, piece.loop_count = 1;
        for (int k = 0; k < 3; ++k) {
            piece.point_mm[k] = w->origin[k] + s->centre[k] + side * s->radius * y[k];
            piece.direction[k] = -side * y[k]; /* into the slot */
            for (int c = 0; c < 4; ++c)
                outline[3 * c + k] = piece.point_mm[k] + (c == 1 || c == 2 ? side : -side) * s->half * x[k]
                    + (c < 2 ? -depth : depth) * z[k];
        }
        w->call->piece(w->call, &piece);
    }
    piece.shape = FITW_PLUGIN_SHAPE_LINE, piece.extent = FITW_PLUGIN_EXTENT_SEGMENT;
    piece.outline_mm = NULL, piece.loop_sizes = NULL, piece.loop_count = 0;
    piece.u_from = -depth, piece.u_to = depth;
    for (int k = 0; k < 3; ++k) piece.point_mm[k] = w->origin[k] + s->centre[k], piece.direction[k] = z[k];
    w->call->piece(w->call, &piece);
}

/* What is told of a fit beside the slot itself. */
typedef struct findings {
    size_t rejected_count;
    size_t round[2]; /* points further than 30 degrees round each end */
    double depth;    /* half of it, from the centre */
    double half_uncertainty, matrix[ROWS * ROWS];
} findings;

/* Points beyond the limit, and how far the others reach along the axis, in whose middle the centre is put. */
static void look(work *w, slot *s, double limit, uint32_t *rejected, findings *f)
{
    double q[3], g[UNKNOWNS], low = HUGE_VAL, high = -HUGE_VAL;
    for (size_t i = 0; i < w->input->point_count && !stopped(w, i); ++i) {
        place(w, s, i, q);
        if (fabs(distance(s, q, g)) > limit) {
            rejected[f->rejected_count++] = (uint32_t)i;
            continue;
        }
        if (g[HALF] < -0.5) f->round[dot(q, s->frame[0]) > 0.0] += 1;
        low = fmin(low, dot(q, s->frame[2])), high = fmax(high, dot(q, s->frame[2]));
    }
    along(s->centre, 0.5 * (low + high), s->frame[2]);
    f->depth = 0.5 * (high - low);
}

/* Covariance of the parameters; 0: the points leave an unknown open. */
static int find_covariance(work *w, const slot *s, double limit, findings *f)
{
    const double *x = s->frame[0], *y = s->frame[1], *z = s->frame[2];
    double l[UNKNOWNS][UNKNOWNS], by[ROWS][UNKNOWNS] = {{0.0}}, half[UNKNOWNS] = {[HALF] = 1.0};
    normal_equations e = sum_up(w, s, limit);
    if (e.used < 2 * UNKNOWNS || !factorise((const double(*)[UNKNOWNS])e.a, 0.0, l)) return 0;
    double variance = e.sum / (double)(e.used - UNKNOWNS + (w->fixed_radius ? 1 : 0));
    /* How the parameters move with the unknowns. */
    for (int k = 0; k < 3; ++k) {
        by[k][0] = x[k], by[k][1] = y[k];
        by[3 + k][2] = -y[k], by[3 + k][3] = x[k]; /* turned about x, y */
        by[6 + k][3] = -z[k], by[6 + k][4] = y[k]; /* turned about y, z */
    }
    by[9][RADIUS] = w->fixed_radius ? 0.0 : 2.0, by[10][RADIUS] = by[9][RADIUS], by[10][HALF] = 2.0;
    for (int row = 0; row < ROWS; ++row) {
        double column[UNKNOWNS];
        memcpy(column, by[row], sizeof column);
        solve((const double(*)[UNKNOWNS])l, column);
        for (int k = 0; k <= row; ++k) {
            double c = 0.0;
            for (int j = 0; j < UNKNOWNS; ++j) c += variance * by[k][j] * column[j];
            f->matrix[row * ROWS + k] = f->matrix[k * ROWS + row] = c;
        }
    }
    solve((const double(*)[UNKNOWNS])l, half);
    f->half_uncertainty = sqrt(variance * half[HALF]);
    return 1;
}

/* Whether width, length or a direction is too uncertain to be an answer. */
static int vague(const slot *s, const findings *f)
{
    double width = 2.0 * s->radius, length = width + 2.0 * s->half, tilt = 0.0;
    for (int k = 3; k < 9; ++k) tilt += f->matrix[k * (ROWS + 1)];
    return sqrt(f->matrix[9 * (ROWS + 1)]) > VAGUE * width || sqrt(f->matrix[10 * (ROWS + 1)]) > VAGUE * length
        || sqrt(tilt) > VAGUE;
}

static int32_t report(work *w, slot *s, int settled, double limit, uint32_t *rejected)
{
    static const fitw_plugin_text names[] = {FITW_PLUGIN_TEXT("centre"), FITW_PLUGIN_TEXT("axis"),
        FITW_PLUGIN_TEXT("direction"), FITW_PLUGIN_TEXT("width"), FITW_PLUGIN_TEXT("length")};
    const fitw_plugin_call *call = w->call;
    findings f = {.depth = 0.0};
    double centre[3];
    look(w, s, limit, rejected, &f);
    int determined = find_covariance(w, s, limit, &f);
    if (w->state != FITW_PLUGIN_OK) return w->state;
    if (!determined || f.round[0] < 3 || f.round[1] < 3)
        return UNDETERMINED(w, "the points leave the slot open; scan both ends and a flat side");
    if (s->half < 3.0 * f.half_uncertainty)
        return UNDETERMINED(w, "no flat sides can be told; a round hole is fitted as a cylinder");
    if (vague(s, &f))
        return UNDETERMINED(w, "the points leave the slot open; scan both ends, a flat side and more of the depth");
    if (f.rejected_count * 2 > w->input->point_count)
        return UNDETERMINED(w, "more than half of the points are not on a slot; choose the points of its wall");
    if (!settled) return fails(w, FITW_PLUGIN_E_NOT_CONVERGED, "the fit did not settle; choose the points of one slot");
    for (int k = 0; k < 3; ++k) centre[k] = w->origin[k] + s->centre[k];
    call->point(call, names[0], centre);
    call->direction(call, names[1], s->frame[2]);
    call->direction(call, names[2], s->frame[0]);
    call->number(call, names[3], FITW_PLUGIN_UNIT_MM, 2.0 * s->radius);
    call->number(call, names[4], FITW_PLUGIN_UNIT_MM, 2.0 * (s->radius + s->half));
    call->covariance(call, f.matrix, ROWS);
    report_pieces(w, s, f.depth);
    return f.rejected_count > 0 ? call->rejected(call, rejected, f.rejected_count) : FITW_PLUGIN_OK;
}

/* The same points give the same signs: the largest coordinate of axis and direction is positive. */
static void set_signs(slot *s)
{
    for (int row = 2; row >= 0; row -= 2) {
        double *v = s->frame[row];
        int k = fabs(v[0]) >= fabs(v[1]) && fabs(v[0]) >= fabs(v[2]) ? 0 : fabs(v[1]) >= fabs(v[2]) ? 1 : 2;
        double sign = v[k] < 0.0 ? -1.0 : 1.0;
        for (int j = 0; j < 3; ++j) v[j] *= sign;
    }
    set_frame(s, s->frame[2], s->frame[0]);
}

static int32_t fit(const void *data, const fitw_plugin_input *input, const fitw_plugin_call *call)
{
    (void)data;
    size_t n = input->point_count;
    work w = {.input = input, .call = call, .step = 1, .fixed_radius = input->options[0] > 0.0};
    slot s;
    double limit = 0.0;
    if (n < UNKNOWNS * 4) return fails(&w, FITW_PLUGIN_E_TOO_FEW_POINTS, "a slot needs 28 points; scan more of its wall");
    if (n > UINT32_MAX) return fails(&w, FITW_PLUGIN_E_LIMIT, "more than 4,294,967,295 points; give fewer");
    for (size_t i = 0; i < n && !stopped(&w, i); ++i)
        for (int k = 0; k < 3; ++k) w.origin[k] += (input->points_mm[3 * i + (size_t)k] - w.origin[k]) / (double)(i + 1);
    if (!isfinite(w.origin[0] + w.origin[1] + w.origin[2]))
        return fails(&w, FITW_PLUGIN_E_INPUT, "a point is not finite; leave it out");
    w.distances = call->allocate(call, n * sizeof *w.distances);
    uint32_t *rejected = call->allocate(call, n * sizeof *rejected);
    if (w.distances == NULL || rejected == NULL)
        return fails(&w, FITW_PLUGIN_E_LIMIT, "no memory for the distances; give fewer points");
    int found = start(&w, &s), settled = found && settle(&w, &s, 30, &limit);
    if (w.state != FITW_PLUGIN_OK) return w.state;
    if (!found) return UNDETERMINED(&w, "no slot goes through the points; a round hole is fitted as a cylinder");
    set_signs(&s);
    return report(&w, &s, settled, limit, rejected);
}

static const fitw_plugin_option width = {.struct_size = sizeof width, .sort = FITW_PLUGIN_OPTION_NUMBER,
    .unit = FITW_PLUGIN_UNIT_MM, .name = FITW_PLUGIN_TEXT("width"),
    .description = FITW_PLUGIN_TEXT("width that is known and kept; 0: it is found"), .most = 10000.0};
static const fitw_plugin_option *const options[] = {&width};
static const fitw_plugin_fitter obround = {.struct_size = sizeof obround, .shape = FITW_PLUGIN_SHAPE_COMPOSITE,
    .id = FITW_PLUGIN_TEXT("fitwright.obround"), .title = FITW_PLUGIN_TEXT("Obround slot through a plate"),
    .kind = FITW_PLUGIN_TEXT("obround"), .minimum_points = 4 * UNKNOWNS, .options = options, .option_count = 1, .fit = fit};
static const fitw_plugin_fitter *const fitters[] = {&obround};

int32_t fitw_plugin_entry(uint32_t lowest, uint32_t highest, const fitw_plugin_host *host, fitw_plugin_table *table)
{
    (void)host;
    if (lowest > FITW_PLUGIN_VERSION || highest < FITW_PLUGIN_OLDEST) {
        table->version = FITW_PLUGIN_VERSION;
        return FITW_PLUGIN_E_VERSION;
    }
    table->version = highest < FITW_PLUGIN_VERSION ? highest : FITW_PLUGIN_VERSION;
    table->id = (fitw_plugin_text)FITW_PLUGIN_TEXT("fitwright.obround-c");
    table->fitters = fitters;
    table->fitter_count = 1;
    return FITW_PLUGIN_OK;
}
