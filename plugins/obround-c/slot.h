/*
 * The least squares of obround.c.
 *
 * In the cross-section the wall is all that lies at the radius from a segment, so a point's distance is its
 * distance from the segment less the radius. Seven unknowns: two shifts across the axis, three small rotations,
 * the radius, half the distance between the centres of the ends; Levenberg and Marquardt's damping. Starts come
 * from the axes of inertia of points and normals and a turn of 180 degrees in steps of 10, on at most 1,000
 * points; the best after fitting goes on with all points.
 *
 * Outliers: rounds of fitting without the points beyond 3.5 times the robust standard deviation (1.4826 times
 * the median distance), until the shape stays. Of good points with normal noise that leaves out 1 in 2,000.
 */
#ifndef SLOT_H
#define SLOT_H

#include <fitwright_plugin.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { UNKNOWNS = 7, RADIUS = 5, HALF = 6, TRIALS = 3, TURNS = 18, SAMPLE = 500, ASK_EVERY = 1 << 15 };
#define PI 3.14159265358979323846
#define TIMES_SIGMA 3.5

typedef struct slot {
    double centre[3];   /* from `origin` */
    double frame[3][3]; /* rows: along the slot, across it, its axis */
    double radius, half;
} slot;

typedef struct work {
    const fitw_plugin_input *input;
    const fitw_plugin_call *call;
    double origin[3];
    size_t step; /* from one point that counts to the next */
    int fixed_radius;
    double *distances; /* room for one number a point */
    int32_t state;     /* other than OK: stop */
} work;

typedef struct normal_equations {
    double a[UNKNOWNS][UNKNOWNS], b[UNKNOWNS];
    double sum;  /* of squares of the points within the limit */
    double cost; /* of squares of all, none counted above the limit's: what is made least */
    size_t used;
} normal_equations;

static double dot(const double *a, const double *b) { return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]; }

static void cross(const double *a, const double *b, double *out)
{
    out[0] = a[1] * b[2] - a[2] * b[1], out[1] = a[2] * b[0] - a[0] * b[2], out[2] = a[0] * b[1] - a[1] * b[0];
}

static void along(double *v, double factor, const double *direction)
{
    for (int k = 0; k < 3; ++k) v[k] += factor * direction[k];
}

static void unit(double *v)
{
    double length = sqrt(dot(v, v));
    for (int k = 0; k < 3; ++k) v[k] /= length;
}

/* Makes a right-handed frame of an axis and a direction that is not along it. */
static void set_frame(slot *s, const double *axis, const double *direction)
{
    memcpy(s->frame[2], axis, sizeof s->frame[2]);
    unit(s->frame[2]);
    memcpy(s->frame[0], direction, sizeof s->frame[0]);
    along(s->frame[0], -dot(direction, s->frame[2]), s->frame[2]);
    unit(s->frame[0]);
    cross(s->frame[2], s->frame[0], s->frame[1]);
}

static void place(const work *w, const slot *s, size_t i, double *q)
{
    for (int k = 0; k < 3; ++k) q[k] = w->input->points_mm[3 * i + (size_t)k] - w->origin[k] - s->centre[k];
}

/* Distance of q from the wall, positive outside, with its derivatives. */
static double distance(const slot *s, const double *q, double *g)
{
    double x = dot(q, s->frame[0]), y = dot(q, s->frame[1]);
    double beyond = x > s->half ? x - s->half : x < -s->half ? x + s->half : 0.0;
    double from = hypot(beyond, y), away[3] = {0.0, 0.0, 0.0}, turn[3];
    double ux = from > 0.0 ? beyond / from : 0.0, uy = from > 0.0 ? y / from : 1.0;
    along(away, ux, s->frame[0]);
    along(away, uy, s->frame[1]);
    cross(away, q, turn);
    g[0] = -ux, g[1] = -uy;
    for (int k = 0; k < 3; ++k) g[2 + k] = dot(turn, s->frame[k]);
    g[RADIUS] = -1.0, g[HALF] = -fabs(ux);
    return from - s->radius;
}

/* Whether the work is to stop; asks the host now and then. */
static int stopped(work *w, size_t i)
{
    if (w->state == FITW_PLUGIN_OK && i / w->step % ASK_EVERY == 0 && w->call->cancelled(w->call))
        w->state = FITW_PLUGIN_E_CANCELLED;
    return w->state != FITW_PLUGIN_OK;
}

static normal_equations sum_up(work *w, const slot *s, double limit)
{
    normal_equations e = {.sum = 0.0};
    double q[3], g[UNKNOWNS];
    for (size_t i = 0; i < w->input->point_count && !stopped(w, i); i += w->step) {
        place(w, s, i, q);
        double d = distance(s, q, g);
        e.cost += fmin(d * d, limit * limit);
        if (!(fabs(d) <= limit)) continue;
        if (w->fixed_radius) g[RADIUS] = 0.0;
        for (int j = 0; j < UNKNOWNS; ++j) {
            for (int k = 0; k <= j; ++k) e.a[j][k] += g[j] * g[k];
            e.b[j] -= g[j] * d;
        }
        e.sum += d * d, e.used += 1;
    }
    if (w->fixed_radius) e.a[RADIUS][RADIUS] = 1.0;
    return e;
}

/* Cholesky's factor of the lower half of a, its diagonal raised by the factor 1 + damping; 0: singular. */
static int factorise(const double a[UNKNOWNS][UNKNOWNS], double damping, double l[UNKNOWNS][UNKNOWNS])
{
    for (int j = 0; j < UNKNOWNS; ++j)
        for (int k = 0; k <= j; ++k) {
            double rest = a[j][k] * (j == k ? 1.0 + damping : 1.0);
            for (int m = 0; m < k; ++m) rest -= l[j][m] * l[k][m];
            if (j == k && !(rest > 1e-12 * a[j][j])) return 0;
            l[j][k] = j == k ? sqrt(rest) : rest / l[k][k];
        }
    return 1;
}

static void solve(const double l[UNKNOWNS][UNKNOWNS], double *b)
{
    for (int j = 0; j < UNKNOWNS; ++j) {
        for (int k = 0; k < j; ++k) b[j] -= l[j][k] * b[k];
        b[j] /= l[j][j];
    }
    for (int j = UNKNOWNS - 1; j >= 0; --j) {
        for (int k = j + 1; k < UNKNOWNS; ++k) b[j] -= l[k][j] * b[k];
        b[j] /= l[j][j];
    }
}

static slot moved(const slot *s, const double *by)
{
    slot to = *s;
    double turn[3] = {0.0, 0.0, 0.0}, axis[3], direction[3], more[3];
    along(to.centre, by[0], s->frame[0]);
    along(to.centre, by[1], s->frame[1]);
    for (int k = 0; k < 3; ++k) along(turn, by[2 + k], s->frame[k]);
    memcpy(axis, s->frame[2], sizeof axis);
    memcpy(direction, s->frame[0], sizeof direction);
    cross(turn, axis, more);
    along(axis, 1.0, more);
    cross(turn, direction, more);
    along(direction, 1.0, more);
    set_frame(&to, axis, direction);
    to.radius += by[RADIUS];
    to.half = fmax(to.half + by[HALF], 0.0);
    return to;
}

/* Least squares with the points within `limit` of the wall; 1 if it converged. */
static int improve(work *w, slot *s, double limit)
{
    normal_equations here = sum_up(w, s, limit);
    double damping = 1e-6, l[UNKNOWNS][UNKNOWNS], by[UNKNOWNS];
    for (int turn = 0; turn < 60 && w->state == FITW_PLUGIN_OK; ++turn) {
        if (damping > 1e6) return here.used > UNKNOWNS; /* no step is better: as good as rounding allows */
        if (!factorise((const double(*)[UNKNOWNS])here.a, damping, l)) {
            damping *= 100.0;
            continue;
        }
        memcpy(by, here.b, sizeof by);
        solve((const double(*)[UNKNOWNS])l, by);
        slot to = moved(s, by);
        normal_equations there = sum_up(w, &to, limit);
        if (!(to.radius > 0.0 && there.cost <= here.cost)) {
            damping *= 10.0;
            continue;
        }
        double change = 0.0;
        for (int k = 0; k < UNKNOWNS; ++k) change = fmax(change, fabs(by[k]) / (k > 1 && k < RADIUS ? 1.0 : to.radius));
        *s = to, here = there, damping *= 0.1;
        if (change < 1e-9) return 1;
    }
    return 0;
}

static int by_size(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* Robust standard deviation of the distances from the wall, of at most 100,000 points; at least what
 * rounding leaves. */
static double spread(work *w, const slot *s)
{
    double q[3], g[UNKNOWNS];
    size_t n = 0, step = w->step + w->input->point_count / (100 * SAMPLE);
    for (size_t i = 0; i < w->input->point_count; i += step) {
        place(w, s, i, q);
        w->distances[n++] = fabs(distance(s, q, g));
    }
    qsort(w->distances, n, sizeof *w->distances, by_size);
    return fmax(1.4826 * w->distances[n / 2], 1e-9 * (s->radius + s->half));
}

/* Rounds of leaving out and fitting; 1 if the last one changed the shape no more. Gives the last limit. */
static int settle(work *w, slot *s, int rounds, double *limit)
{
    for (int round = 0; round < rounds; ++round) {
        slot before = *s;
        *limit = TIMES_SIGMA * spread(w, s);
        int converged = improve(w, s, *limit);
        if (w->state != FITW_PLUGIN_OK) return 0;
        double change = fabs(s->radius - before.radius) + fabs(s->half - before.half);
        for (int k = 0; k < 3; ++k) change += fabs(s->centre[k] - before.centre[k]);
        if (converged && change < 1e-7 * s->radius) return 1;
    }
    return 0;
}

/* Axes of inertia of vectors (less `about`): eigenvectors of their scatter by Jacobi's rotations. */
static void axes(const work *w, const double *vectors, const double *about, double axis[3][3])
{
    double a[3][3] = {{0.0}};
    for (size_t i = 0; i < w->input->point_count; i += w->step)
        for (int j = 0; j < 3; ++j)
            for (int k = 0; k < 3; ++k)
                a[j][k] += (vectors[3 * i + (size_t)j] - about[j]) * (vectors[3 * i + (size_t)k] - about[k]);
    for (int j = 0; j < 3; ++j)
        for (int k = 0; k < 3; ++k) axis[j][k] = j == k;
    for (int turn = 0; turn < 60; ++turn) {
        int p = turn % 3, q = (p + 1) % 3;
        double t = 0.5 * atan2(2.0 * a[p][q], a[p][p] - a[q][q]), c = cos(t), s = sin(t), x, y;
        for (int k = 0; k < 3; ++k) {
            x = a[p][k], y = a[q][k], a[p][k] = c * x + s * y, a[q][k] = c * y - s * x;
            x = axis[p][k], y = axis[q][k], axis[p][k] = c * x + s * y, axis[q][k] = c * y - s * x;
        }
        for (int k = 0; k < 3; ++k) x = a[k][p], y = a[k][q], a[k][p] = c * x + s * y, a[k][q] = c * y - s * x;
    }
}

/* Middle and half length of the points along a direction, less 3 % at both ends. */
static double reach(const work *w, const double *direction, double *middle)
{
    const double *points = w->input->points_mm;
    size_t n = 0;
    for (size_t i = 0; i < w->input->point_count; i += w->step)
        w->distances[n++] = dot(points + 3 * i, direction) - dot(w->origin, direction);
    qsort(w->distances, n, sizeof *w->distances, by_size);
    double low = w->distances[n * 3 / 100], high = w->distances[n - 1 - n * 3 / 100];
    *middle = 0.5 * (low + high);
    return 0.5 * (high - low);
}

/* Slot about an axis as the reach of the points says, its long side turned by a number of steps. */
static slot turned(work *w, const slot *basis, int turn)
{
    slot s = {.half = 0.0};
    double direction[3] = {0.0, 0.0, 0.0}, x, y;
    along(direction, cos(PI * turn / TURNS), basis->frame[0]);
    along(direction, sin(PI * turn / TURNS), basis->frame[1]);
    set_frame(&s, basis->frame[2], direction);
    double length = reach(w, s.frame[0], &x);
    s.radius = reach(w, s.frame[1], &y);
    s.half = length - s.radius;
    if (w->fixed_radius) s.radius = 0.5 * w->input->options[0];
    along(s.centre, x, s.frame[0]);
    along(s.centre, y, s.frame[1]);
    return s;
}

/* Fits from the likeliest turns about an axis; keeps the slot with the least spread of points. */
static void try_axis(work *w, const double *axis, slot *best, double *least)
{
    double other[3] = {0.0, 0.0, 0.0}, cost[TURNS], limit;
    slot basis, starts[TURNS];
    other[fabs(axis[0]) < 0.6 ? 0 : 1] = 1.0;
    set_frame(&basis, axis, other);
    for (int turn = 0; turn < TURNS && !stopped(w, 0); ++turn) {
        starts[turn] = turned(w, &basis, turn);
        int possible = starts[turn].half > 0.0 && starts[turn].radius > 0.0;
        cost[turn] = possible ? spread(w, &starts[turn]) : HUGE_VAL;
    }
    for (int trial = 0; trial < TRIALS && w->state == FITW_PLUGIN_OK; ++trial) {
        int chosen = 0;
        for (int turn = 1; turn < TURNS; ++turn)
            if (cost[turn] < cost[chosen]) chosen = turn;
        if (cost[chosen] == HUGE_VAL) return;
        slot s = starts[chosen];
        settle(w, &s, 4, &limit);
        double c = spread(w, &s);
        if (s.half > 0.0 && c < *least) *best = s, *least = c;
        /* Its neighbours would lead to the same. */
        for (int k = TURNS - 1; k <= TURNS + 1; ++k) cost[(chosen + k) % TURNS] = HUGE_VAL;
    }
}

/* Best slot of a sample of the points. */
static int start(work *w, slot *s)
{
    static const double nothing[3] = {0.0, 0.0, 0.0};
    double axis[3][3], least = HUGE_VAL;
    w->step = 1 + w->input->point_count / SAMPLE;
    axes(w, w->input->points_mm, w->origin, axis);
    for (int k = 0; k < 3; ++k) try_axis(w, axis[k], s, &least);
    if (w->input->normals != NULL) {
        /* All normals of the wall are square to its axis. */
        axes(w, w->input->normals, nothing, axis);
        for (int k = 0; k < 3; ++k) try_axis(w, axis[k], s, &least);
    }
    w->step = 1;
    return least < HUGE_VAL;
}

#endif
