/* Ends the process, or never ends. In a worker each is an error of the call that names the plug-in; the host
 * goes on, and the next call of an honest plug-in works. */
#include "ball.h"

/* An error that names the signal. */
CASE(crash_in_fit)
{
    volatile int *volatile nowhere = NULL;
    ball b = honest(input);
    *nowhere = 1;
    return report(call, &b);
}

/* An error: it crashes after a whole answer was reported, of which nothing is used. */
CASE(crash_after_answer)
{
    volatile int *volatile nowhere = NULL;
    ball b = honest(input);
    int32_t state = report(call, &b);
    *nowhere = 1;
    return state;
}

/* An error that names the signal. */
CASE(abort_in_fit)
{
    (void)input, (void)call;
    abort();
}

/* An error, though the worker ends with state 0. */
CASE(exit_in_fit)
{
    ball b = honest(input);
    report(call, &b);
    exit(0);
}

static volatile int deep = 1;

static double recurse(double x)
{
    volatile double room[512];
    room[0] = x;
    return deep ? recurse(x + 1.0) + room[0] : room[0];
}

/* An error that names the signal. */
CASE(stack_overflow)
{
    (void)input;
    return call->number(call, radius_name, FITW_PLUGIN_UNIT_MM, recurse(0.0));
}

/* An error after the time limit; cancelling does not help, since it never asks. */
CASE(hang_in_fit)
{
    (void)input, (void)call;
    while (deep) {}
    return FITW_PLUGIN_OK;
}

/* An error after the time limit: it asks, and goes on though the host says stop. */
CASE(ignores_cancel)
{
    (void)input;
    while (deep) call->cancelled(call);
    return FITW_PLUGIN_OK;
}

/* An error of the plug-in: it returns a state that the interface does not have. */
CASE(unknown_state)
{
    ball b = honest(input);
    report(call, &b);
    return 12345;
}

/* An error, and nothing of the answer is used: it reports a shape and then fails without a reason. */
CASE(fails_after_answer)
{
    ball b = honest(input);
    report(call, &b);
    return FITW_PLUGIN_E_UNDETERMINED;
}

/* The plug-in's error with a reason that is cut or replaced: 2^60 bytes are not read. */
CASE(endless_reason)
{
    fitw_plugin_text text = radius_name;
    (void)input;
    text.length = (size_t)1 << 60;
    call->reason(call, text);
    return FITW_PLUGIN_E_UNDETERMINED;
}

/* The plug-in's error with a reason that is made readable: it is not UTF-8. */
CASE(reason_not_utf8)
{
    static const fitw_plugin_text text = FITW_PLUGIN_TEXT("too \xff\xfe few");
    (void)input;
    call->reason(call, text);
    return FITW_PLUGIN_E_UNDETERMINED;
}

ENTRY_OF_FIT
