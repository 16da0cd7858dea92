/* Tells the thread sanitizer of waiting and waking inside Rust's standard library, which is not compiled with
 * it: linked in front of the C library, its `syscall` is the one that the standard library calls. */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <linux/futex.h>
#include <stdarg.h>
#include <stddef.h>
#include <sys/syscall.h>

void __tsan_acquire(void *address);
void __tsan_release(void *address);
long syscall(long number, ...);

long syscall(long number, ...)
{
    static long (*volatile next)(long, ...);
    va_list list;
    void *address;
    long a[6], out;
    int i, command;
    va_start(list, number);
    for (i = 0; i < 6; ++i)
        a[i] = va_arg(list, long);
    va_end(list);
    if (next == NULL)
        *(void **)&next = dlsym(RTLD_NEXT, "syscall");
    address = (void *)a[0];
    command = number == SYS_futex ? (int)a[1] & FUTEX_CMD_MASK : -1;
    if (command == FUTEX_WAKE)
        __tsan_release(address);
    out = next(number, a[0], a[1], a[2], a[3], a[4], a[5]);
    if (command == FUTEX_WAIT || command == FUTEX_WAIT_BITSET)
        __tsan_acquire(address);
    return out;
}
