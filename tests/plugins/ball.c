/* The plug-in made with the Rust side, in a host of C. Called with its library and the resolution that it must
 * report: what this host tells, if its header knows that field; else 0. */
#define _GNU_SOURCE
#include "host.h"

enum { POINTS = 500 };

int main(int argc, char **argv)
{
    static const double centre[3] = {120.0, -30.0, 75.0}, radius = 12.5;
    double points[3 * POINTS];
    uint64_t seed = 1;
    fitw_plugin_table *table;
    fitw_plugin_input input = {.point_count = POINTS, .points_mm = points};
#if FITW_PLUGIN_MINOR >= 1
    input.resolution_mm = 0.75;
#endif
    TRUE_(argc == 3);
    for (int i = 0; i < POINTS; ++i) {
        double v[3] = {normal(&seed), normal(&seed), fabs(normal(&seed))}, length = 0.0;
        for (int k = 0; k < 3; ++k) length += v[k] * v[k];
        for (int k = 0; k < 3; ++k) points[3 * i + k] = centre[k] + radius * v[k] / sqrt(length);
    }
    TRUE_(entered(argv[1], 9u << 16, 9u << 16, &table) == FITW_PLUGIN_E_VERSION && table->version >> 16 == 1);
    load(argv[1], "test.ball");
    TRUE_(fitted(&input) == FITW_PLUGIN_OK && answer.piece_count == 1 && answer.parameter_count == 3);
    TRUE_(fabs(*parameter("radius") - radius) < 1e-9);
    for (int k = 0; k < 3; ++k) TRUE_(fabs(parameter("centre")[k] - centre[k]) < 1e-9);
    TRUE_(*parameter("resolution") == atof(argv[2]));
    TRUE_(answer.pieces[0].shape == FITW_PLUGIN_SHAPE_SPHERE && answer.pieces[0].extent == FITW_PLUGIN_EXTENT_WHOLE);
    TRUE_(fabs(answer.pieces[0].size_1 - radius) < 1e-9);
    for (int i = 0; i < POINTS; ++i) points[3 * i + 2] = 0.0;
    TRUE_(fitted(&input) == FITW_PLUGIN_E_UNDETERMINED && strstr(answer.reason, "plane") != NULL);
    /* This host fits nothing for others. */
    load(argv[1], "test.hosted-ball");
    TRUE_(fitted(&input) == FITW_PLUGIN_E_ABILITY && strstr(answer.reason, "newer") != NULL);
    answer.cancel_at = 1;
    load(argv[1], "test.ball");
    TRUE_(fitted(&input) == FITW_PLUGIN_E_CANCELLED);
    free(answer.rejected);
    printf("ball: ok\n");
    return 0;
}
