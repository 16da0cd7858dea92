/* Runs one fit of a plug-in in this process and tells how it went: the harm that the hostile plug-ins do when
 * nothing holds them. Called with library and fitter's id. Ended by SIGALRM after 2 s of waiting. */
#define _GNU_SOURCE
#include "host.h"
#include <sys/resource.h>

enum { POINTS = 200 };

int main(int argc, char **argv)
{
    const struct rlimit memory = {(rlim_t)1 << 29, (rlim_t)1 << 29}, no_core = {0, 0};
    double points[3 * POINTS], before[3 * POINTS];
    fitw_plugin_input input = {.point_count = POINTS, .points_mm = points};
    uint64_t seed = 1;
    TRUE_(argc == 3);
    setrlimit(RLIMIT_AS, &memory);
    setrlimit(RLIMIT_CORE, &no_core);
    alarm(2);
    for (int i = 0; i < POINTS; ++i) {
        double v[3] = {normal(&seed), normal(&seed), normal(&seed)}, length = 0.0;
        for (int k = 0; k < 3; ++k) length += v[k] * v[k];
        for (int k = 0; k < 3; ++k) points[3 * i + k] = 20.0 * v[k] / sqrt(length);
    }
    memcpy(before, points, sizeof points);
    load(argv[1], argv[2]);
    int32_t first = fitted(&input);
    double radius = answer.parameter_count == 2 ? *parameter("radius") : 0.0;
    fitted(&input);
    printf("state %d radius %.9f again %.9f points %s\n", (int)first, radius,
           answer.parameter_count == 2 ? *parameter("radius") : 0.0,
           memcmp(before, points, sizeof points) == 0 ? "kept" : "changed");
    free(answer.rejected);
    return 0;
}
