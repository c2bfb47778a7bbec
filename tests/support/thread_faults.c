/* A panic in one thread of the unchanged program: in the thread whose name stands
 * in the file that THREAD_FAULT names, one call of the system fails in a way that
 * Rust's standard library takes for impossible, so that it panics there and
 * unwinds as after any fault of the program's own. The file goes with it. */

#define _GNU_SOURCE
#include <dirent.h>
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <pthread.h>
#include <stdlib.h>
#include <string.h>
#include <sys/auxv.h>
#include <sys/prctl.h>
#include <sys/socket.h>
#include <sys/syscall.h>
#include <time.h>
#include <unistd.h>

/* Libraries in C make the same calls and take an error for what it is. */
static int is_of_the_program(void *caller)
{
    Dl_info from, program;
    return dladdr(caller, &from) && dladdr((void *)getauxval(AT_ENTRY), &program) &&
           from.dli_fbase == program.dli_fbase;
}

static int is_named(const char *path)
{
    char wanted[32] = "", name[32] = "";
    int file = syscall(SYS_openat, AT_FDCWD, path, O_RDONLY | O_CLOEXEC);
    if (file < 0)
        return 0;
    syscall(SYS_read, file, wanted, sizeof wanted - 1);
    syscall(SYS_close, file);
    prctl(PR_GET_NAME, name);
    return strcmp(name, wanted) == 0;
}

/* Once: for whoever can remove the file. */
static int fails(void *caller)
{
    int before = errno;
    const char *path = getenv("THREAD_FAULT");
    int yes = path && is_named(path) && is_of_the_program(caller) &&
              syscall(SYS_unlinkat, AT_FDCWD, path, 0) == 0;
    errno = before;
    return yes;
}

#define FAILS() fails(__builtin_return_address(0))

int clock_gettime(clockid_t clock, struct timespec *now)
{
    if (FAILS()) {
        errno = EIO;
        return -1;
    }
    return syscall(SYS_clock_gettime, clock, now);
}

int clock_nanosleep(clockid_t clock, int flags, const struct timespec *wanted,
                    struct timespec *left)
{
    if (FAILS())
        return EIO;
    return syscall(SYS_clock_nanosleep, clock, flags, wanted, left) == 0 ? 0 : errno;
}

ssize_t getrandom(void *bytes, size_t count, unsigned flags)
{
    if (FAILS()) {
        errno = EIO;
        return -1;
    }
    return syscall(SYS_getrandom, bytes, count, flags);
}

/* More than there was. Not of the terminal, whose writer drains what it holds
 * while it unwinds. */
ssize_t write(int file, const void *bytes, size_t count)
{
    if (file > STDERR_FILENO && count > 1 && FAILS())
        return count + 1;
    return syscall(SYS_write, file, bytes, count);
}

/* Of sockets alone: files fail to be read, and programs know it. */
static ssize_t came(int file, ssize_t count, void *caller)
{
    int kind;
    socklen_t size = sizeof kind;
    if (count > 0 && getsockopt(file, SOL_SOCKET, SO_TYPE, &kind, &size) == 0 && fails(caller)) {
        errno = EIO;
        return -1;
    }
    return count;
}

ssize_t read(int file, void *bytes, size_t count)
{
    return came(file, syscall(SYS_read, file, bytes, count), __builtin_return_address(0));
}

ssize_t recv(int file, void *bytes, size_t count, int flags)
{
    return came(file, syscall(SYS_recvfrom, file, bytes, count, flags, NULL, NULL),
                __builtin_return_address(0));
}

int closedir(DIR *folder)
{
    static int (*close_it)(DIR *);
    if (!close_it)
        close_it = (int (*)(DIR *))dlsym(RTLD_NEXT, "closedir");
    int answer = close_it(folder);
    if (!FAILS())
        return answer;
    errno = EIO;
    return -1;
}

int pthread_join(pthread_t thread, void **given)
{
    static int (*join)(pthread_t, void **);
    if (FAILS())
        return EINVAL;
    if (!join)
        join = (int (*)(pthread_t, void **))dlsym(RTLD_NEXT, "pthread_join");
    return join(thread, given);
}
