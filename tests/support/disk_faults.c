/*
 * A disk that fails when a test says so, in front of the program (LD_PRELOAD).
 *
 * The file that DISK_FAULTS names has a rule a line, read anew at each call:
 *
 *     CALL HOW PART
 *
 * CALL: write, sync, open (for writing), cut, rename, link, folder, lock.
 * HOW: the name of an error, which the call ends with; "half:ERROR", where the
 * first such write takes half of its bytes and all later ones fail; "short", where
 * each write takes seven bytes at most; "late", where the call takes 20 ms.
 * PART: what the path of the file must contain.
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <sys/types.h>
#include <sys/uio.h>
#include <time.h>
#include <unistd.h>

#define REAL(name) ((__typeof__(&name))dlsym(RTLD_NEXT, #name))

enum { SHORT = -1, HALF = 1 << 16 };

static const struct {
    const char *name;
    int number;
} errors[] = {{"ENOSPC", ENOSPC}, {"EDQUOT", EDQUOT}, {"EIO", EIO},       {"EROFS", EROFS},
              {"EACCES", EACCES}, {"ENOLCK", ENOLCK}, {"EPERM", EPERM}};

static int number_of(const char *name) {
    for (size_t i = 0; i < sizeof errors / sizeof *errors; i++)
        if (!strcmp(name, errors[i].name))
            return errors[i].number;
    fprintf(stderr, "disk_faults: no error %s\n", name);
    abort();
}

/* What is to happen to this call on this path: 0 for nothing. */
static int rule(const char *call, const char *path) {
    const char *file = getenv("DISK_FAULTS");
    char text[4096], *rest = text, *line;
    if (!file || !path)
        return 0;
    /* Not through the calls below. */
    int from = syscall(SYS_openat, AT_FDCWD, file, O_RDONLY | O_CLOEXEC, 0);
    if (from < 0)
        return 0;
    ssize_t length = syscall(SYS_read, from, text, sizeof text - 1);
    syscall(SYS_close, from);
    if (length <= 0)
        return 0;
    text[length] = 0;
    while ((line = strsep(&rest, "\n"))) {
        char of[32], how[32], part[512];
        if (sscanf(line, "%31s %31s %511s", of, how, part) != 3)
            continue;
        if (strcmp(of, call) || !strstr(path, part))
            continue;
        if (!strcmp(how, "late")) {
            nanosleep(&(struct timespec){.tv_nsec = 20000000}, NULL);
            continue;
        }
        if (!strcmp(how, "short"))
            return SHORT;
        if (!strncmp(how, "half:", 5))
            return HALF | number_of(how + 5);
        return number_of(how);
    }
    return 0;
}

static int rule_of(const char *call, int file) {
    char link[64], path[PATH_MAX];
    snprintf(link, sizeof link, "/proc/self/fd/%d", file);
    ssize_t length = syscall(SYS_readlinkat, AT_FDCWD, link, path, sizeof path - 1);
    if (length < 0)
        return 0;
    path[length] = 0;
    return rule(call, path);
}

static int fails(int found) {
    if (found > 0)
        errno = found;
    return found > 0;
}

/* How many bytes of a write are taken; -1 where it fails. */
static ssize_t taken(int file, size_t count) {
    static int is_half_done;
    int found = rule_of("write", file);
    if (found == SHORT)
        return count < 7 ? count : 7;
    if (found & HALF) {
        if (count > 1 && !__atomic_exchange_n(&is_half_done, 1, __ATOMIC_SEQ_CST))
            return count / 2;
        found &= ~HALF;
    }
    return fails(found) ? -1 : (ssize_t)count;
}

ssize_t write(int file, const void *bytes, size_t count) {
    ssize_t some = taken(file, count);
    return some < 0 ? -1 : REAL(write)(file, bytes, some);
}

ssize_t writev(int file, const struct iovec *parts, int count) {
    /* What is asked for part by part may be taken part by part. */
    for (int i = 0; i < count; i++)
        if (parts[i].iov_len)
            return write(file, parts[i].iov_base, parts[i].iov_len);
    return 0;
}

int fdatasync(int file) {
    return fails(rule_of("sync", file)) ? -1 : REAL(fdatasync)(file);
}

int fsync(int file) {
    return fails(rule_of("sync", file)) ? -1 : REAL(fsync)(file);
}

int ftruncate64(int file, off64_t length) {
    return fails(rule_of("cut", file)) ? -1 : REAL(ftruncate64)(file, length);
}

int flock(int file, int how);
int flock(int file, int how) {
    return fails(rule_of("lock", file)) ? -1 : REAL(flock)(file, how);
}

int rename(const char *from, const char *to) {
    return fails(rule("rename", to)) ? -1 : REAL(rename)(from, to);
}

int linkat(int from_in, const char *from, int to_in, const char *to, int how) {
    return fails(rule("link", to)) ? -1 : REAL(linkat)(from_in, from, to_in, to, how);
}

int mkdir(const char *path, mode_t mode) {
    return fails(rule("folder", path)) ? -1 : REAL(mkdir)(path, mode);
}

static int is_for_writing(int how) {
    return (how & O_ACCMODE) != O_RDONLY;
}

int open64(const char *path, int how, ...) {
    va_list more;
    va_start(more, how);
    mode_t mode = how & O_CREAT ? va_arg(more, mode_t) : 0;
    va_end(more);
    if (is_for_writing(how) && fails(rule("open", path)))
        return -1;
    return REAL(open64)(path, how, mode);
}

int openat64(int in, const char *path, int how, ...) {
    va_list more;
    va_start(more, how);
    mode_t mode = how & O_CREAT ? va_arg(more, mode_t) : 0;
    va_end(more);
    if (is_for_writing(how) && fails(rule("open", path)))
        return -1;
    return REAL(openat64)(in, path, how, mode);
}
