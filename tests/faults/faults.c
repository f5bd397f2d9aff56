/* SPDX-License-Identifier: Apache-2.0
 *
 * Stands between a program and the C library (LD_PRELOAD) and lets the n-th call that would change a folder fail:
 * opening for writing, write, fsync, truncate, rename, link, mkdir, unlink and their kin, below one root. What to do,
 * and the count, lie in a file that all processes of a trial map; see shared_state.py for its layout.
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <signal.h>
#include <stdarg.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <sys/types.h>
#include <sys/uio.h>
#include <time.h>
#include <unistd.h>

enum { GROWS = 1, NAMES = 2, ENDS = 4 }; /* takes room; works on a name; removes or renames */

struct state {
    _Atomic long count; /* calls so far */
    long at;            /* the call that fails, from 1; 0: none */
    long error;         /* errno, or 0 */
    long signal;        /* sent to `process`, or 0 */
    long times;         /* at how many calls, one after another, the signal is sent */
    long kinds;         /* only calls of these kinds count; 0: all */
    long lasts;         /* every later call fails, too */
    long process;
    _Atomic long fired;
    char root[1024];
    char what[64];
    char path[1024];
};

static struct state *state;

__attribute__((constructor)) static void map_state(void)
{
    const char *path = getenv("FAULTS_STATE");
    if (!path)
        return;
    int file = (int)syscall(SYS_openat, AT_FDCWD, path, O_RDWR | O_CLOEXEC);
    if (file < 0)
        return;
    void *found = mmap(NULL, sizeof *state, PROT_READ | PROT_WRITE, MAP_SHARED, file, 0);
    syscall(SYS_close, file);
    if (found != MAP_FAILED)
        state = found;
}

static int below_root(const char *path)
{
    size_t length = strlen(state->root);
    return length && !strncmp(path, state->root, length) && (path[length] == '/' || !path[length]);
}

static int link_of(int file, char *path)
{
    char name[64];
    snprintf(name, sizeof name, "/proc/self/fd/%d", file);
    ssize_t length = readlink(name, path, PATH_MAX - 1);
    if (length < 0)
        return 0;
    path[length] = 0;
    return 1;
}

/* Count a call on an absolute path; returns the errno to fail with, or 0. */
static int count_call(const char *what, const char *path, int kinds)
{
    if (!below_root(path) || (state->kinds && !(kinds & state->kinds)))
        return 0;
    long number = atomic_fetch_add(&state->count, 1) + 1;
    if (!state->at || number < state->at)
        return 0;
    if (number == state->at) {
        snprintf(state->what, sizeof state->what, "%s", what);
        snprintf(state->path, sizeof state->path, "%s", path);
        atomic_store(&state->fired, 1);
    }
    if (state->signal && number < state->at + state->times)
        kill((pid_t)state->process, (int)state->signal);
    return number == state->at || state->lasts ? (int)state->error : 0;
}

static int fault_at(const char *what, int folder, const char *path, int kinds)
{
    if (!state || !state->root[0] || !path)
        return 0;
    char whole[2 * PATH_MAX];
    if (path[0] == '/') {
        snprintf(whole, sizeof whole, "%s", path);
    } else if (folder == AT_FDCWD) {
        if (!getcwd(whole, PATH_MAX))
            return 0;
        size_t length = strlen(whole);
        snprintf(whole + length, sizeof whole - length, "/%s", path);
    } else {
        if (!link_of(folder, whole))
            return 0;
        size_t length = strlen(whole);
        snprintf(whole + length, sizeof whole - length, "/%s", path);
    }
    return count_call(what, whole, kinds | NAMES);
}

static int fault_on(const char *what, int file, int kinds)
{
    char path[PATH_MAX];
    if (!state || !state->root[0] || !link_of(file, path))
        return 0;
    return count_call(what, path, kinds);
}

#define REAL(name) ((__typeof__(&name))dlsym(RTLD_NEXT, #name))
#define FAIL_IF(fault, result)          \
    do {                                \
        int found_fault = (fault);      \
        if (found_fault) {              \
            errno = found_fault;        \
            return result;              \
        }                               \
    } while (0)

static int opens_for_writing(int flags)
{
    return (flags & O_ACCMODE) != O_RDONLY || (flags & (O_CREAT | O_TRUNC));
}

#define OPEN(name)                                                                       \
    int name(const char *path, int flags, ...)                                           \
    {                                                                                    \
        va_list more;                                                                    \
        va_start(more, flags);                                                           \
        mode_t mode = flags & (O_CREAT | O_TMPFILE) ? (mode_t)va_arg(more, int) : 0;     \
        va_end(more);                                                                    \
        if (opens_for_writing(flags))                                                    \
            FAIL_IF(fault_at("open", AT_FDCWD, path, GROWS), -1);                        \
        return REAL(name)(path, flags, mode);                                            \
    }
#define OPENAT(name)                                                                     \
    int name(int folder, const char *path, int flags, ...)                               \
    {                                                                                    \
        va_list more;                                                                    \
        va_start(more, flags);                                                           \
        mode_t mode = flags & (O_CREAT | O_TMPFILE) ? (mode_t)va_arg(more, int) : 0;     \
        va_end(more);                                                                    \
        if (opens_for_writing(flags))                                                    \
            FAIL_IF(fault_at("open", folder, path, GROWS), -1);                          \
        return REAL(name)(folder, path, flags, mode);                                    \
    }
OPEN(open)
OPEN(open64)
OPENAT(openat)
OPENAT(openat64)

FILE *fopen(const char *path, const char *mode)
{
    if (strpbrk(mode, "wa+"))
        FAIL_IF(fault_at("fopen", AT_FDCWD, path, GROWS), NULL);
    return REAL(fopen)(path, mode);
}

FILE *fopen64(const char *path, const char *mode)
{
    if (strpbrk(mode, "wa+"))
        FAIL_IF(fault_at("fopen", AT_FDCWD, path, GROWS), NULL);
    return REAL(fopen64)(path, mode);
}

#define ON_FILE(type, name, kinds, parameters, file, arguments, failed)                  \
    type name parameters                                                                 \
    {                                                                                    \
        FAIL_IF(fault_on(#name, file, kinds), failed);                                   \
        return REAL(name) arguments;                                                     \
    }
ON_FILE(ssize_t, write, GROWS, (int file, const void *from, size_t size), file, (file, from, size), -1)
ON_FILE(ssize_t, pwrite, GROWS, (int file, const void *from, size_t size, off_t at), file, (file, from, size, at), -1)
ON_FILE(ssize_t, pwrite64, GROWS, (int file, const void *from, size_t size, off64_t at), file, (file, from, size, at), -1)
ON_FILE(ssize_t, writev, GROWS, (int file, const struct iovec *from, int count), file, (file, from, count), -1)
ON_FILE(ssize_t, sendfile, GROWS, (int into, int from, off_t *at, size_t size), into, (into, from, at, size), -1)
ON_FILE(ssize_t, sendfile64, GROWS, (int into, int from, off64_t *at, size_t size), into, (into, from, at, size), -1)
ON_FILE(ssize_t, copy_file_range, GROWS,
        (int from, off64_t *at, int into, off64_t *to, size_t size, unsigned flags), into,
        (from, at, into, to, size, flags), -1)
ON_FILE(int, fsync, GROWS, (int file), file, (file), -1)
ON_FILE(int, fdatasync, GROWS, (int file), file, (file), -1)
ON_FILE(int, ftruncate, GROWS, (int file, off_t size), file, (file, size), -1)
ON_FILE(int, ftruncate64, GROWS, (int file, off64_t size), file, (file, size), -1)
ON_FILE(int, fallocate, GROWS, (int file, int mode, off_t at, off_t size), file, (file, mode, at, size), -1)
ON_FILE(int, fallocate64, GROWS, (int file, int mode, off64_t at, off64_t size), file, (file, mode, at, size), -1)
ON_FILE(int, fchmod, 0, (int file, mode_t mode), file, (file, mode), -1)
ON_FILE(int, futimens, 0, (int file, const struct timespec times[2]), file, (file, times), -1)

size_t fwrite(const void *from, size_t size, size_t count, FILE *stream)
{
    FAIL_IF(fault_on("fwrite", fileno(stream), GROWS), 0);
    return REAL(fwrite)(from, size, count, stream);
}

#define ON_NAME(type, name, kinds, parameters, folder, path, arguments)                  \
    type name parameters                                                                 \
    {                                                                                    \
        FAIL_IF(fault_at(#name, folder, path, kinds), -1);                               \
        return REAL(name) arguments;                                                     \
    }
ON_NAME(int, creat, GROWS, (const char *path, mode_t mode), AT_FDCWD, path, (path, mode))
ON_NAME(int, mkdir, GROWS, (const char *path, mode_t mode), AT_FDCWD, path, (path, mode))
ON_NAME(int, mkdirat, GROWS, (int folder, const char *path, mode_t mode), folder, path, (folder, path, mode))
ON_NAME(int, truncate, GROWS, (const char *path, off_t size), AT_FDCWD, path, (path, size))
ON_NAME(int, symlink, GROWS, (const char *to, const char *path), AT_FDCWD, path, (to, path))
ON_NAME(int, link, GROWS, (const char *from, const char *path), AT_FDCWD, path, (from, path))
ON_NAME(int, linkat, GROWS, (int a, const char *from, int folder, const char *path, int flags), folder, path,
        (a, from, folder, path, flags))
ON_NAME(int, rename, ENDS, (const char *path, const char *to), AT_FDCWD, path, (path, to))
ON_NAME(int, renameat, ENDS, (int folder, const char *path, int b, const char *to), folder, path, (folder, path, b, to))
ON_NAME(int, renameat2, ENDS, (int folder, const char *path, int b, const char *to, unsigned flags), folder, path,
        (folder, path, b, to, flags))
ON_NAME(int, unlink, ENDS, (const char *path), AT_FDCWD, path, (path))
ON_NAME(int, unlinkat, ENDS, (int folder, const char *path, int flags), folder, path, (folder, path, flags))
ON_NAME(int, rmdir, ENDS, (const char *path), AT_FDCWD, path, (path))
ON_NAME(int, chmod, 0, (const char *path, mode_t mode), AT_FDCWD, path, (path, mode))
ON_NAME(int, fchmodat, 0, (int folder, const char *path, mode_t mode, int flags), folder, path,
        (folder, path, mode, flags))
ON_NAME(int, utimensat, 0, (int folder, const char *path, const struct timespec times[2], int flags), folder, path,
        (folder, path, times, flags))
