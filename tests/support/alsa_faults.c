/* Faults of a sound card that no sound server can be asked for, between the
   program and ALSA's library; loaded by LD_PRELOAD.

   The folder is named by ALSA_FAULTS. Its file "fault" names the fault that is
   in force now, and is read at every call:
     open ERROR    a capture device cannot be opened
     wait ERROR    asking what has come gives the error
     once ERROR    the same, a single time
     read ERROR    taking what has come gives the error
     stall NAME    the thread of this name sleeps on, the next time it does
   ESTRPIPE shows the device as suspended too, until it is prepared anew; "wait
   ENODEV" as away, so that it cannot be opened. To the file "said" goes a line for every error that
   the program is given, injected or not. */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/prctl.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

typedef struct pcm pcm_t;
typedef long frames_t;

static int is_suspended;

enum { CAPTURE = 1, SUSPENDED = 7, DISCONNECTED = 8 };

#define REAL(name) static __typeof__(name) *real; \
    if (!real) real = (__typeof__(name) *)dlsym(RTLD_NEXT, #name)

static const struct { const char *name; int error; } ERRORS[] = {
    {"EBUSY", EBUSY}, {"EPIPE", EPIPE}, {"ESTRPIPE", ESTRPIPE},
    {"ENODEV", ENODEV}, {"EACCES", EACCES}, {"EIO", EIO},
};

static void path_of(const char *name, char *path, size_t room)
{
    const char *folder = getenv("ALSA_FAULTS");
    snprintf(path, room, "%s/%s", folder ? folder : "/nowhere", name);
}

/* The word after the kind, where a fault of this kind is in force. */
static int in_force(const char *kind, char *word, size_t room)
{
    char path[4096], text[128], found[64], rest[64];
    path_of("fault", path, sizeof path);
    struct stat about;
    /* Where there is none, the program has no file more open than it would. */
    if (stat(path, &about) || !about.st_size) return 0;
    int file = open(path, O_RDONLY | O_CLOEXEC);
    if (file < 0) return 0;
    ssize_t length = read(file, text, sizeof text - 1);
    close(file);
    if (length <= 0) return 0;
    text[length] = 0;
    if (sscanf(text, "%63s %63s", found, rest) != 2 || strcmp(found, kind)) return 0;
    snprintf(word, room, "%s", rest);
    return 1;
}

static int error_of(const char *kind)
{
    char word[64];
    if (!in_force(kind, word, sizeof word)) return 0;
    for (size_t n = 0; n < sizeof ERRORS / sizeof *ERRORS; n++)
        if (!strcmp(word, ERRORS[n].name)) return ERRORS[n].error;
    return 0;
}

static int said_to = -1;

/* Open from the start, so that an error changes nothing that is counted. */
__attribute__((constructor)) static void begin(void)
{
    char path[4096];
    path_of("said", path, sizeof path);
    said_to = open(path, O_WRONLY | O_CREAT | O_APPEND | O_CLOEXEC, 0600);
}

static long said(const char *call, long answer)
{
    if (answer >= 0 || answer == -EAGAIN) return answer;
    char line[128];
    int length = snprintf(line, sizeof line, "%s %ld\n", call, -answer);
    if (write(said_to, line, (size_t)length) < 0) { /* then it is not counted */ }
    return answer;
}

int snd_pcm_open(pcm_t **pcm, const char *name, int stream, int mode)
{
    REAL(snd_pcm_open);
    int error = error_of("open");
    if (!error && error_of("wait") == ENODEV) error = ENODEV;
    if (error && stream == CAPTURE) return -error;
    return real(pcm, name, stream, mode);
}

int snd_pcm_avail_delay(pcm_t *pcm, frames_t *avail, frames_t *delay)
{
    REAL(snd_pcm_avail_delay);
    int error = error_of("wait");
    if (!error && (error = error_of("once"))) {
        char path[4096];
        path_of("fault", path, sizeof path);
        unlink(path);
    }
    if (error == ESTRPIPE) is_suspended = 1;
    return (int)said("wait", error ? -error : real(pcm, avail, delay));
}

frames_t snd_pcm_readi(pcm_t *pcm, void *buffer, unsigned long size)
{
    REAL(snd_pcm_readi);
    int error = error_of("read");
    return said("read", error ? -error : real(pcm, buffer, size));
}

int snd_pcm_state(pcm_t *pcm)
{
    REAL(snd_pcm_state);
    if (is_suspended) return SUSPENDED;
    return error_of("wait") == ENODEV ? DISCONNECTED : real(pcm);
}

int snd_pcm_resume(pcm_t *pcm)
{
    REAL(snd_pcm_resume);
    return is_suspended ? -ENOSYS : real(pcm);
}

int snd_pcm_prepare(pcm_t *pcm)
{
    REAL(snd_pcm_prepare);
    is_suspended = 0;
    return real(pcm);
}

/* Sleeping on while the fault is in force. */
static void stall(void)
{
    char wanted[64], name[17] = "";
    while (in_force("stall", wanted, sizeof wanted)) {
        prctl(PR_GET_NAME, name);
        if (strcmp(name, wanted)) return;
        usleep(2000);
    }
}

int nanosleep(const struct timespec *length, struct timespec *left)
{
    REAL(nanosleep);
    int answer = real(length, left);
    stall();
    return answer;
}

int clock_nanosleep(clockid_t clock, int flags, const struct timespec *length, struct timespec *left)
{
    REAL(clock_nanosleep);
    int answer = real(clock, flags, length, left);
    stall();
    return answer;
}
