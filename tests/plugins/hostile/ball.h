/* What the hostile plug-ins share: an honest fitter of balls, to be spoilt in one place. Compiled with NAME, the
 * misbehaviour's name as a text, and MISBEHAVIOUR, the function of it; those not chosen stay unused.
 * Plug-in hostile.NAME, fitter hostile.NAME-ball, a composite so that the covariance is the plug-in's own. */
#ifndef BALL_H
#define BALL_H

#include <fitwright_plugin.h>
#include <math.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#ifdef __GNUC__
#define UNUSED __attribute__((unused))
#else
#define UNUSED
#endif

/* One function a misbehaviour, after the sentence that says what must happen. */
#ifndef CASE
#define CASE(name) UNUSED static int32_t name(const fitw_plugin_input *input, const fitw_plugin_call *call)
#endif

static const fitw_plugin_text centre_name = FITW_PLUGIN_TEXT("centre");
static const fitw_plugin_text radius_name = FITW_PLUGIN_TEXT("radius");

typedef struct ball {
    double centre[3], radius;
} ball;

/* About the middle of the points' box. */
UNUSED static ball honest(const fitw_plugin_input *input)
{
    ball b;
    size_t i;
    int k;
    for (k = 0; k < 3; ++k) {
        double low = HUGE_VAL, high = -HUGE_VAL;
        for (i = 0; i < input->point_count; ++i) {
            low = fmin(low, input->points_mm[3 * i + (size_t)k]);
            high = fmax(high, input->points_mm[3 * i + (size_t)k]);
        }
        b.centre[k] = 0.5 * (low + high);
    }
    b.radius = 0.0;
    for (i = 0; i < input->point_count; ++i) {
        const double *p = input->points_mm + 3 * i;
        double x = p[0] - b.centre[0], y = p[1] - b.centre[1], z = p[2] - b.centre[2];
        b.radius += sqrt(x * x + y * y + z * z) / (double)input->point_count;
    }
    return b;
}

UNUSED static fitw_plugin_piece piece_of(const ball *b)
{
    fitw_plugin_piece piece;
    memset(&piece, 0, sizeof piece);
    piece.struct_size = sizeof piece;
    piece.shape = FITW_PLUGIN_SHAPE_SPHERE, piece.extent = FITW_PLUGIN_EXTENT_WHOLE;
    memcpy(piece.point_mm, b->centre, sizeof piece.point_mm);
    piece.direction[2] = piece.pole[2] = 1.0;
    piece.size_1 = b->radius;
    return piece;
}

UNUSED static void report_parameters(const fitw_plugin_call *call, const ball *b)
{
    call->point(call, centre_name, b->centre);
    call->number(call, radius_name, FITW_PLUGIN_UNIT_MM, b->radius);
}

/* Independent standard uncertainties of `u` mm of the four numbers, and of `more` further ones. */
UNUSED static int32_t report_covariance(const fitw_plugin_call *call, double u, size_t more)
{
    double matrix[64];
    size_t size = 4 + more, k;
    memset(matrix, 0, sizeof matrix);
    for (k = 0; k < size; ++k) matrix[k * size + k] = u * u;
    return call->covariance(call, matrix, size);
}

UNUSED static int32_t report_piece(const fitw_plugin_call *call, const ball *b)
{
    fitw_plugin_piece piece = piece_of(b);
    return call->piece(call, &piece);
}

/* An honest answer. */
UNUSED static int32_t report(const fitw_plugin_call *call, const ball *b)
{
    report_parameters(call, b);
    report_covariance(call, 0.01, 0);
    return report_piece(call, b);
}

/* Fills the table as it should be. */
UNUSED static int32_t introduce(fitw_plugin_table *table, int32_t (*fit)(const void *, const fitw_plugin_input *,
                                                                         const fitw_plugin_call *))
{
    static const fitw_plugin_text id = FITW_PLUGIN_TEXT("hostile." NAME);
    static const fitw_plugin_text fitter_id = FITW_PLUGIN_TEXT("hostile." NAME "-ball");
    static const fitw_plugin_text title = FITW_PLUGIN_TEXT("Ball"), kind = FITW_PLUGIN_TEXT("ball");
    static fitw_plugin_fitter fitter;
    static const fitw_plugin_fitter *fitters[1];
    fitter.struct_size = sizeof fitter, fitter.shape = FITW_PLUGIN_SHAPE_COMPOSITE;
    fitter.id = fitter_id, fitter.title = title, fitter.kind = kind;
    fitter.minimum_points = 4, fitter.fit = fit;
    fitters[0] = &fitter;
    table->version = FITW_PLUGIN_VERSION;
    table->id = id, table->fitters = fitters, table->fitter_count = 1;
    return FITW_PLUGIN_OK;
}

/* The entry of a plug-in whose misbehaviour is its fit. */
#define ENTRY_OF_FIT                                                                                          \
    static int32_t fit(const void *data, const fitw_plugin_input *input, const fitw_plugin_call *call)        \
    {                                                                                                         \
        (void)data;                                                                                           \
        return MISBEHAVIOUR(input, call);                                                                     \
    }                                                                                                         \
    int32_t fitw_plugin_entry(uint32_t lowest, uint32_t highest, const fitw_plugin_host *host,                \
                              fitw_plugin_table *table)                                                       \
    {                                                                                                         \
        (void)lowest, (void)host;                                                                             \
        introduce(table, fit);                                                                                \
        if (highest < table->version)                                                                         \
            table->version = highest;                                                                         \
        return FITW_PLUGIN_OK;                                                                                \
    }

#endif
