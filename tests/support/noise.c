/* A sound library that complains on standard error all the time. */

#include <pthread.h>
#include <stdio.h>
#include <unistd.h>

static void *complain(void *nothing)
{
    for (;;) {
        dprintf(STDERR_FILENO, "noise of a sound library\n");
        usleep(20000);
    }
    return nothing;
}

__attribute__((constructor)) static void begin(void)
{
    pthread_t thread;
    pthread_create(&thread, NULL, complain, NULL);
}
