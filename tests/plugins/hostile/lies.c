/* Answers that are not true or not possible: each is an error that names the plug-in and the field. */
#include "ball.h"

/* Refused: the piece lies far from the points, whatever the covariance claims. */
CASE(far_ball)
{
    ball b = honest(input);
    b.centre[0] += 1e5;
    report_parameters(call, &b);
    report_covariance(call, 1e-9, 0);
    return report_piece(call, &b);
}

/* Answered, but with the distances that the engine computes itself: the radius is a tenth too large, and
 * the covariance claims a nanometre. */
CASE(claims_too_much)
{
    ball b = honest(input);
    b.radius *= 1.1;
    report_parameters(call, &b);
    report_covariance(call, 1e-6, 0);
    return report_piece(call, &b);
}

/* Refused: all points are left out. */
CASE(rejects_all)
{
    ball b = honest(input);
    uint32_t *all = call->allocate(call, input->point_count * sizeof *all), i;
    for (i = 0; i < input->point_count; ++i) all[i] = i;
    report(call, &b);
    return call->rejected(call, all, input->point_count);
}

/* Refused: a point is left out that is not there. */
CASE(rejects_unknown_point)
{
    ball b = honest(input);
    uint32_t beyond = (uint32_t)input->point_count;
    report(call, &b);
    return call->rejected(call, &beyond, 1);
}

/* Refused: a point is left out twice. */
CASE(rejects_twice)
{
    static const uint32_t twice[2] = {1, 1};
    ball b = honest(input);
    report(call, &b);
    return call->rejected(call, twice, 2);
}

/* Refused: the radius is not a number. */
CASE(nan_number)
{
    ball b = honest(input);
    call->point(call, centre_name, b.centre);
    call->number(call, radius_name, FITW_PLUGIN_UNIT_MM, NAN);
    report_covariance(call, 0.01, 0);
    return report_piece(call, &b);
}

/* Refused: the radius is infinite. */
CASE(infinite_number)
{
    ball b = honest(input);
    call->point(call, centre_name, b.centre);
    call->number(call, radius_name, FITW_PLUGIN_UNIT_MM, HUGE_VAL);
    report_covariance(call, 0.01, 0);
    return report_piece(call, &b);
}

/* Refused: a coordinate of a place is not a number. */
CASE(nan_point)
{
    ball b = honest(input), wrong = b;
    wrong.centre[1] = NAN;
    report_parameters(call, &wrong);
    report_covariance(call, 0.01, 0);
    return report_piece(call, &b);
}

/* Refused: a place at NULL. */
CASE(null_point)
{
    ball b = honest(input);
    call->point(call, centre_name, NULL);
    call->number(call, radius_name, FITW_PLUGIN_UNIT_MM, b.radius);
    report_covariance(call, 0.01, 0);
    return report_piece(call, &b);
}

/* Refused: the piece's radius is not a number. */
CASE(nan_piece)
{
    ball b = honest(input), wrong = b;
    wrong.radius = NAN;
    report_parameters(call, &b);
    report_covariance(call, 0.01, 0);
    return report_piece(call, &wrong);
}

/* Refused: a number of a table is not one. */
CASE(nan_table)
{
    static const double values[2] = {1.0, NAN};
    static const fitw_plugin_text name = FITW_PLUGIN_TEXT("steps");
    fitw_plugin_column column = {FITW_PLUGIN_TEXT("step"), FITW_PLUGIN_UNIT_MM, 0};
    ball b = honest(input);
    call->table(call, name, &column, 1, values, 2);
    return report(call, &b);
}

/* Refused: a variance is not a number. */
CASE(nan_covariance)
{
    ball b = honest(input);
    report_parameters(call, &b);
    report_covariance(call, NAN, 0);
    return report_piece(call, &b);
}

/* Refused: no radius is below 0. */
CASE(negative_radius)
{
    ball b = honest(input);
    b.radius = -b.radius;
    return report(call, &b);
}

/* Refused: a radius of 50 m is above the limit. */
CASE(huge_radius)
{
    ball b = honest(input);
    b.radius = 5e4;
    return report(call, &b);
}

/* Reports a direction as well, and a piece of another shape in place of the ball. */
static int32_t report_plane(const fitw_plugin_input *input, const fitw_plugin_call *call, double length)
{
    static const fitw_plugin_text name = FITW_PLUGIN_TEXT("normal");
    ball b = honest(input);
    double direction[3] = {0.0, 0.0, 0.0};
    direction[2] = length;
    report_parameters(call, &b);
    call->direction(call, name, direction);
    report_covariance(call, 0.01, 3);
    return report_piece(call, &b);
}

/* Refused: a direction of length 2. */
CASE(long_direction)
{
    return report_plane(input, call, 2.0);
}

/* Refused: a direction of length 0. */
CASE(no_direction)
{
    return report_plane(input, call, 0.0);
}

/* Refused: the piece's axis has length 2. */
CASE(long_axis_of_piece)
{
    ball b = honest(input);
    fitw_plugin_piece piece = piece_of(&b);
    piece.shape = FITW_PLUGIN_SHAPE_CIRCLE;
    piece.direction[2] = 2.0;
    report_parameters(call, &b);
    report_covariance(call, 0.01, 0);
    return call->piece(call, &piece);
}

static int32_t report_matrix(const fitw_plugin_input *input, const fitw_plugin_call *call, size_t at, double value)
{
    ball b = honest(input);
    double matrix[16] = {0.0};
    int k;
    for (k = 0; k < 4; ++k) matrix[5 * k] = 1e-4;
    matrix[at] = value;
    report_parameters(call, &b);
    call->covariance(call, matrix, 4);
    return report_piece(call, &b);
}

/* Refused: a variance below 0. */
CASE(negative_variance)
{
    return report_matrix(input, call, 5, -1e-4);
}

/* Refused: the covariance is not symmetric. */
CASE(lopsided_covariance)
{
    return report_matrix(input, call, 1, 5e-5);
}

/* Refused: symmetric, every variance above 0, and yet no covariance: a correlation of 2. */
CASE(impossible_correlation)
{
    ball b = honest(input);
    double matrix[16] = {0.0};
    int k;
    for (k = 0; k < 4; ++k) matrix[5 * k] = 1e-4;
    matrix[1] = matrix[4] = 2e-4;
    report_parameters(call, &b);
    call->covariance(call, matrix, 4);
    return report_piece(call, &b);
}

/* Refused: the covariance has a row more than the parameters. */
CASE(covariance_too_large)
{
    ball b = honest(input);
    report_parameters(call, &b);
    report_covariance(call, 0.01, 1);
    return report_piece(call, &b);
}

/* Refused: a composite without a covariance. */
CASE(no_covariance)
{
    ball b = honest(input);
    report_parameters(call, &b);
    return report_piece(call, &b);
}

/* Refused: two covariances. */
CASE(two_covariances)
{
    ball b = honest(input);
    report_covariance(call, 0.02, 0);
    return report(call, &b);
}

/* Refused: OK without anything reported. */
CASE(no_answer)
{
    (void)input, (void)call;
    return FITW_PLUGIN_OK;
}

/* Refused: no piece. */
CASE(no_piece)
{
    ball b = honest(input);
    report_parameters(call, &b);
    return report_covariance(call, 0.01, 0);
}

static int32_t report_spoilt(const fitw_plugin_input *input, const fitw_plugin_call *call, int32_t shape,
                             int32_t extent, uint32_t size)
{
    ball b = honest(input);
    fitw_plugin_piece piece = piece_of(&b);
    piece.shape = shape, piece.extent = extent, piece.struct_size = size;
    report_parameters(call, &b);
    report_covariance(call, 0.01, 0);
    return call->piece(call, &piece);
}

/* Refused: a shape code that the interface does not have. */
CASE(unknown_shape)
{
    return report_spoilt(input, call, 999, FITW_PLUGIN_EXTENT_WHOLE, sizeof(fitw_plugin_piece));
}

/* Refused: a composite as a piece of a composite. */
CASE(composite_piece)
{
    return report_spoilt(input, call, FITW_PLUGIN_SHAPE_COMPOSITE, FITW_PLUGIN_EXTENT_WHOLE, sizeof(fitw_plugin_piece));
}

/* Refused: an extent code that the interface does not have. */
CASE(unknown_extent)
{
    return report_spoilt(input, call, FITW_PLUGIN_SHAPE_SPHERE, 999, sizeof(fitw_plugin_piece));
}

/* Refused: a segment of a ball. */
CASE(extent_of_another_shape)
{
    return report_spoilt(input, call, FITW_PLUGIN_SHAPE_SPHERE, FITW_PLUGIN_EXTENT_SEGMENT, sizeof(fitw_plugin_piece));
}

/* Refused: the whole of a plane, which has no end. */
CASE(whole_plane)
{
    return report_spoilt(input, call, FITW_PLUGIN_SHAPE_PLANE, FITW_PLUGIN_EXTENT_WHOLE, sizeof(fitw_plugin_piece));
}

/* Refused: the piece's struct ends before its fields. */
CASE(piece_of_no_size)
{
    return report_spoilt(input, call, FITW_PLUGIN_SHAPE_SPHERE, FITW_PLUGIN_EXTENT_WHOLE, 0);
}

/* Refused: an outline at NULL. */
CASE(null_outline)
{
    ball b = honest(input);
    fitw_plugin_piece piece = piece_of(&b);
    piece.shape = FITW_PLUGIN_SHAPE_PLANE, piece.extent = FITW_PLUGIN_EXTENT_OUTLINE, piece.size_1 = 0.0;
    piece.loop_count = 1;
    report_parameters(call, &b);
    report_covariance(call, 0.01, 0);
    return call->piece(call, &piece);
}

/* Refused: a piece at NULL. */
CASE(null_piece)
{
    ball b = honest(input);
    report_parameters(call, &b);
    report_covariance(call, 0.01, 0);
    return call->piece(call, NULL);
}

static int32_t report_named(const fitw_plugin_input *input, const fitw_plugin_call *call, fitw_plugin_text name,
                            int32_t unit)
{
    ball b = honest(input);
    report_parameters(call, &b);
    call->number(call, name, unit, 1.0);
    report_covariance(call, 0.01, 1);
    return report_piece(call, &b);
}

/* Refused: a parameter without a name. */
CASE(empty_name)
{
    static const fitw_plugin_text name = FITW_PLUGIN_TEXT("");
    return report_named(input, call, name, FITW_PLUGIN_UNIT_MM);
}

/* Refused: a name of five bytes at NULL. */
CASE(null_name)
{
    static const fitw_plugin_text name = {NULL, 5};
    return report_named(input, call, name, FITW_PLUGIN_UNIT_MM);
}

/* Refused: a name that is not UTF-8. */
CASE(name_not_utf8)
{
    static const fitw_plugin_text name = FITW_PLUGIN_TEXT("w\xff\xfe");
    return report_named(input, call, name, FITW_PLUGIN_UNIT_MM);
}

/* Refused: a name with capitals and a blank. */
CASE(name_of_wrong_letters)
{
    static const fitw_plugin_text name = FITW_PLUGIN_TEXT("Outer Width");
    return report_named(input, call, name, FITW_PLUGIN_UNIT_MM);
}

/* Refused: two parameters of one name. */
CASE(same_name_twice)
{
    return report_named(input, call, radius_name, FITW_PLUGIN_UNIT_MM);
}

/* Refused: a unit that the interface does not have. */
CASE(unknown_unit)
{
    static const fitw_plugin_text name = FITW_PLUGIN_TEXT("width");
    return report_named(input, call, name, 77);
}

ENTRY_OF_FIT
