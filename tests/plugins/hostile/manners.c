/* Right answers from bad manners: what must not harm the host, and what `fitwright plugins check` must find. */
#if !defined(_GNU_SOURCE)
#define _GNU_SOURCE
#endif
#include "ball.h"
#include <pthread.h>
#include <stdio.h>
#include <time.h>
#include <unistd.h>

/* An error that names the plug-in, or a right answer: what it overwrites lies in the worker alone. */
CASE(writes_past_buffer)
{
    ball b = honest(input);
    unsigned char *volatile block = call->allocate(call, 16);
    memset(block + 16, 0xa5, 1 << 16);
    return report(call, &b);
}

/* An error in a worker, where the points cannot be written to; the host's points never change. */
CASE(writes_input)
{
    ball b = honest(input);
    double *volatile points = (double *)(uintptr_t)input->points_mm;
    points[0] += 1.0;
    return report(call, &b);
}

static void *call_later(void *call)
{
    usleep(20000);
    report_covariance(call, 1e-9, 0);
    return NULL;
}

/* The answer is that of the call, without what the thread adds 20 ms after it; or an error. The host lives. */
CASE(calls_afterwards)
{
    ball b = honest(input);
    pthread_t thread;
    if (pthread_create(&thread, NULL, call_later, (void *)(uintptr_t)call) == 0) pthread_detach(thread);
    return report(call, &b);
}

/* A right answer: what it prints does not get between host and worker, nor into the host's output. */
CASE(prints)
{
    ball b = honest(input);
    int i;
    for (i = 0; i < 1000; ++i) printf("a plug-in says something, line %d\n", i);
    fflush(stdout);
    return report(call, &b);
}

/* A right answer: it closes all files up to 1,000, among them perhaps the worker's own; else an error. */
CASE(closes_files)
{
    ball b = honest(input);
    int file;
    for (file = 0; file < 1000; ++file) close(file);
    return report(call, &b);
}

/* The checker finds it: the answer depends on the time. */
CASE(by_time)
{
    ball b = honest(input);
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    b.radius += 1e-9 * (double)(now.tv_nsec % 1000);
    return report(call, &b);
}

/* The checker finds it: the answer depends on how often it was called. */
CASE(by_count)
{
    static int count = 0;
    ball b = honest(input);
    b.radius += 1e-6 * ++count;
    return report(call, &b);
}

/* The checker finds it: a megabyte is lost in every call. */
CASE(leaks)
{
    ball b = honest(input);
    /* Each page is written to through a volatile pointer: a compiler drops a plain memset of lost memory. */
    volatile char *lost = malloc(1 << 20);
    for (size_t i = 0; lost != NULL && i < 1 << 20; i += 1024) lost[i] = 1;
    return report(call, &b);
}

/* The checker finds it: half a second of work without asking whether to stop. */
CASE(asks_seldom)
{
    ball b = honest(input);
    clock_t start = clock();
    while (clock() - start < CLOCKS_PER_SEC / 2) {}
    return report(call, &b);
}

/* Answered, with a progress that is put between 0 and 1 or left out: it tells 7, below 0, and not a number. */
CASE(wild_progress)
{
    ball b = honest(input);
    call->progress(call, 7.0), call->progress(call, -1.0), call->progress(call, NAN);
    return report(call, &b);
}

/* A right answer in a host of 1.1; in one of 1.0, whose input ends before it, this field must not be read
 * without asking struct_size. */
CASE(reads_beyond_input)
{
    ball b = honest(input);
    const volatile double *resolution = &input->resolution_mm;
    b.radius += 1e-9 * (*resolution > 0.0);
    return report(call, &b);
}

ENTRY_OF_FIT
