/* More than a host gives: each call says FITW_PLUGIN_E_LIMIT, reads nothing beyond what is there, and the answer
 * is refused with the field and the limit. The plug-ins do not heed what the host says. */
#include "ball.h"

#define ENDLESS ((size_t)1 << 60)

/* Refused, and the host's memory does not grow without bound: a million notes. */
CASE(million_notes)
{
    ball b = honest(input);
    int i;
    report(call, &b);
    for (i = 0; i < 1000000; ++i) call->note(call, radius_name);
    return FITW_PLUGIN_OK;
}

/* Refused: more pieces than 4,096. */
CASE(countless_pieces)
{
    ball b = honest(input);
    int i;
    report(call, &b);
    for (i = 0; i < 100000; ++i) report_piece(call, &b);
    return FITW_PLUGIN_OK;
}

/* Refused: more parameters than the host takes. */
CASE(countless_parameters)
{
    ball b = honest(input);
    char name[9] = "p0000000";
    int i, k, rest;
    report(call, &b);
    for (i = 0; i < 100000; ++i) {
        fitw_plugin_text text;
        for (k = 7, rest = i; k > 0; --k, rest /= 10) name[k] = (char)('0' + rest % 10);
        text.data = (const uint8_t *)name, text.length = 8;
        call->number(call, text, FITW_PLUGIN_UNIT_MM, 1.0);
    }
    return FITW_PLUGIN_OK;
}

static int32_t report_table(const fitw_plugin_input *input, const fitw_plugin_call *call, size_t columns, size_t rows)
{
    static const fitw_plugin_text name = FITW_PLUGIN_TEXT("steps");
    static const double values[1] = {1.0};
    fitw_plugin_column column = {FITW_PLUGIN_TEXT("step"), FITW_PLUGIN_UNIT_MM, 0};
    ball b = honest(input);
    call->table(call, name, &column, columns, values, rows);
    return report(call, &b);
}

/* Refused: a table of 2^50 rows. */
CASE(endless_table)
{
    return report_table(input, call, 1, (size_t)1 << 50);
}

/* Refused: 2^60 columns; times 2^4 rows of 8 bytes that is 0 in 64 bits. */
CASE(endless_columns)
{
    return report_table(input, call, ENDLESS, 16);
}

/* Refused: a covariance of 2^32 rows, whose square is 0 in 64 bits. */
CASE(endless_covariance)
{
    static const double value = 1e-4;
    ball b = honest(input);
    report_parameters(call, &b);
    call->covariance(call, &value, (size_t)1 << 32);
    return report_piece(call, &b);
}

/* Refused: 2^60 points left out. */
CASE(endless_rejected)
{
    static const uint32_t point = 0;
    ball b = honest(input);
    report(call, &b);
    call->rejected(call, &point, ENDLESS);
    return FITW_PLUGIN_OK;
}

/* Refused: a name of 2^60 bytes. */
CASE(endless_name)
{
    fitw_plugin_text name = radius_name;
    ball b = honest(input);
    name.length = ENDLESS;
    report(call, &b);
    call->number(call, name, FITW_PLUGIN_UNIT_MM, 1.0);
    return FITW_PLUGIN_OK;
}

static int32_t report_outline(const fitw_plugin_input *input, const fitw_plugin_call *call, size_t loops, size_t corners)
{
    ball b = honest(input);
    fitw_plugin_piece piece = piece_of(&b);
    piece.shape = FITW_PLUGIN_SHAPE_PLANE, piece.extent = FITW_PLUGIN_EXTENT_OUTLINE, piece.size_1 = 0.0;
    piece.outline_mm = b.centre, piece.loop_sizes = &corners, piece.loop_count = loops;
    report(call, &b);
    call->piece(call, &piece);
    return FITW_PLUGIN_OK;
}

/* Refused: a loop of 2^60 corners. */
CASE(endless_loop)
{
    return report_outline(input, call, 1, ENDLESS);
}

/* Refused: 2^60 loops. */
CASE(endless_loops)
{
    return report_outline(input, call, ENDLESS, 1);
}

/* Refused: 2^60 bytes from the host, which answers NULL; the plug-in says so. */
CASE(endless_block)
{
    (void)input;
    return call->allocate(call, ENDLESS) == NULL ? FITW_PLUGIN_E_LIMIT : FITW_PLUGIN_E_INTERNAL;
}

/* Refused at the limit: memory from the host, all of it touched, until the host has no more. */
CASE(endless_blocks)
{
    void *block;
    (void)input;
    while ((block = call->allocate(call, (size_t)1 << 24)) != NULL) memset(block, 1, (size_t)1 << 24);
    return FITW_PLUGIN_E_LIMIT;
}

/* An error in a worker, whose memory is limited: memory of the system, all of it touched, without end. In
 * process it is not to be tried. */
CASE(endless_memory)
{
    volatile int forever = 1;
    (void)input, (void)call;
    while (forever) {
        void *block = malloc((size_t)1 << 24);
        if (block != NULL) memset(block, 1, (size_t)1 << 24);
    }
    return FITW_PLUGIN_E_LIMIT;
}

ENTRY_OF_FIT
