/* Many threads on one scan, each with its own context, and on one context: the same bits everywhere, and
 * handles may be released while others use them. */
#include "common.h"
#include <pthread.h>

#ifndef THREADS
#define THREADS 8
#endif

typedef struct task {
    fitw_context *context;
    fitw_scan *scan;
    double answer[8];
    int rounds;
} task;

#define HERE(call)                                                                                            \
    do {                                                                                                      \
        fitw_status status_ = (call);                                                                         \
        if (status_ != FITW_OK)                                                                               \
            failed(__FILE__, __LINE__, #call, (long)status_);                                                 \
    } while (0)

static void *work(void *argument)
{
    task *t = argument;
    const double pick[3] = {7.9, 0.0, -3.0};
    const double *normals;
    size_t count;
    int round;
    for (round = 0; round < t->rounds; ++round) {
        fitw_region *region = NULL;
        fitw_fit *fit = NULL;
        fitw_shape shape = FITW_ZERO;
        shape.struct_size = sizeof shape;
        HERE(fitw_scan_normals_view(t->context, t->scan, &normals, &count));
        HERE(fitw_scan_noise(t->context, t->scan, &t->answer[0]));
        HERE(fitw_scan_resolution(t->context, t->scan, &t->answer[1]));
        HERE(fitw_region_grow(t->context, t->scan, pick, FITW_KIND_CYLINDER, NULL, &region));
        HERE(fitw_fit_region(t->context, text("builtin.cylinder"), region, NULL, &fit));
        HERE(fitw_region_release(region));
        HERE(fitw_fit_shape(t->context, fit, &shape));
        HERE(fitw_fit_release(fit));
        t->answer[2] = shape.size_1;
        memcpy(t->answer + 3, shape.point_mm, sizeof shape.point_mm);
        t->answer[6] = normals[3 * (count - 1)];
    }
    return NULL;
}

static void run(task *tasks)
{
    pthread_t threads[THREADS];
    size_t i;
    for (i = 0; i < THREADS; ++i)
        TRUE_(pthread_create(&threads[i], NULL, work, &tasks[i]) == 0);
    for (i = 0; i < THREADS; ++i)
        TRUE_(pthread_join(threads[i], NULL) == 0);
    for (i = 1; i < THREADS; ++i)
        TRUE_(memcmp(tasks[i].answer, tasks[0].answer, sizeof tasks[0].answer) == 0);
}

static void *release_scan(void *scan)
{
    TRUE_(fitw_scan_release(scan) == FITW_OK);
    return NULL;
}

static void *use_until_gone(void *scan)
{
    double distance, place[3] = {1, 2, 3};
    fitw_context *own = NULL;
    fitw_status status;
    TRUE_(fitw_context_create(NULL, &own) == FITW_OK);
    do {
        status = fitw_scan_nearest(own, scan, place, NULL, &distance);
    } while (status == FITW_OK);
    TRUE_(status == FITW_E_HANDLE);
    TRUE_(fitw_context_release(own) == FITW_OK);
    return NULL;
}

int main(int argc, char **argv)
{
    machine m = make_machine();
    fitw_mesh mesh = mesh_of(&m);
    fitw_context_options options = FITW_ZERO;
    task tasks[THREADS];
    fitw_scan *scan = NULL, *other = NULL;
    pthread_t user[2], releaser;
    size_t i;
    int rounds = argc > 1 ? atoi(argv[1]) : 3;
    options.struct_size = sizeof options;
    OK(fitw_context_create(NULL, &ctx));
    memset(tasks, 0, sizeof tasks);
    mesh.flags = FITW_MESH_BORROW;
    OK(fitw_scan_create(ctx, &mesh, &scan));
    for (i = 0; i < THREADS; ++i) {
        options.threads = (int32_t)(i % 3 + 1);
        OK(fitw_context_create(&options, &tasks[i].context));
        tasks[i].scan = scan, tasks[i].rounds = rounds;
    }
    run(tasks);
    for (i = 0; i < THREADS; ++i)
        OK(fitw_context_release(tasks[i].context));
    /* A fresh scan, all threads on one context of two threads. */
    options.threads = 2;
    OK(fitw_context_release(ctx));
    OK(fitw_context_create(&options, &ctx));
    OK(fitw_scan_create(ctx, &mesh, &other));
    for (i = 0; i < THREADS; ++i)
        tasks[i].context = ctx, tasks[i].scan = other;
    run(tasks);
    for (i = 0; i < 2; ++i)
        TRUE_(pthread_create(&user[i], NULL, use_until_gone, other) == 0);
    TRUE_(pthread_create(&releaser, NULL, release_scan, other) == 0);
    TRUE_(pthread_join(releaser, NULL) == 0);
    for (i = 0; i < 2; ++i)
        TRUE_(pthread_join(user[i], NULL) == 0);
    OK(fitw_scan_release(scan));
    OK(fitw_context_release(ctx));
    free_machine(&m);
    puts("threads: ok");
    return 0;
}
