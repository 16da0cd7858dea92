// Exceptions across the boundary: in a worker each is an error that names the plug-in, and the host goes on.
#include "ball.h"
#include <stdexcept>

/* An error: nothing may unwind into the host. */
CASE(throws_exception)
{
    ball b = honest(input);
    report(call, &b);
    throw std::runtime_error("across the boundary");
}

/* An error, also for what is not derived from std::exception. */
CASE(throws_number)
{
    (void)input, (void)call;
    throw 42;
}

ENTRY_OF_FIT
