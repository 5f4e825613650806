/* Loaded before all libraries: counts what a process does to files under one folder, and lets one of it go wrong.

   What stands between a program and the kernel is the C library; so this sees what Python, SQLite and NumPy do alike.
   It does not see writes to memory that is mapped to a file: of those there are the -shm of a book alone, which SQLite
   makes anew from the -wal after every crash. */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <signal.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/sendfile.h>
#include <sys/stat.h>
#include <sys/statvfs.h>
#include <sys/syscall.h>
#include <sys/types.h>
#include <sys/uio.h>
#include <unistd.h>

enum { COUNT, KILL, TORN, FAIL, FULL };

static char folder[PATH_MAX];
static int mode, error_number, armed, log_to = -1;
static long wanted, seen;

void fault_arm(const char *where, int how, long number, int error, int log) {
    snprintf(folder, sizeof folder, "%s/", where);
    mode = how, wanted = number, error_number = error, log_to = log, seen = 0, armed = 1;
}

long fault_seen(void) { return seen; }

static int within(const char *path) {
    char whole[PATH_MAX];
    if (path[0] != '/') {
        if (!getcwd(whole, sizeof whole - NAME_MAX - 2)) return 0;
        strcat(whole, "/");
        strncat(whole, path, NAME_MAX);
        path = whole;
    }
    return strncmp(path, folder, strlen(folder)) == 0;
}

static int path_of(int fd, char *path) {
    char link[64];
    snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
    ssize_t size = readlink(link, path, PATH_MAX - 1);
    path[size < 0 ? 0 : size] = 0;
    return size > 0;
}

static void die(void) { syscall(SYS_kill, getpid(), SIGKILL); }

/* Count one deed. Returns whether it must fail; does not return if the process is to die before it. A disk that is full
   stays so for all that needs room; TORN is left to those that write. */
static int fails(const char *deed, const char *path, int needs_room) {
    if (!armed) return 0;
    int saved = errno;
    seen++;
    if (log_to >= 0) {
        char line[PATH_MAX + 64];
        int size = snprintf(line, sizeof line, "%s %s\n", deed, path);
        syscall(SYS_write, log_to, line, size);
    }
    errno = saved;
    if (mode == FULL && seen >= wanted && needs_room) { errno = error_number; return 1; }
    if (seen != wanted) return 0;
    if (mode == KILL) die();
    if (mode == FAIL) { errno = error_number; return 1; }
    return 0;
}

static int fd_fails(const char *deed, int fd, int needs_room) {
    char path[PATH_MAX];
    return armed && path_of(fd, path) && within(path) && fails(deed, path, needs_room);
}

static int path_fails(const char *deed, const char *path, int needs_room) {
    return armed && within(path) && fails(deed, path, needs_room);
}

static int torn(void) { return armed && mode == TORN && seen == wanted; }

#define REAL(name) ((__typeof__(&name))dlsym(RTLD_NEXT, #name))

ssize_t write(int fd, const void *data, size_t size) {
    if (fd_fails("write", fd, 1)) return -1;
    if (fd > 2 && torn()) { REAL(write)(fd, data, size / 2); die(); }
    return REAL(write)(fd, data, size);
}
ssize_t pwrite(int fd, const void *data, size_t size, off_t at) {
    if (fd_fails("write", fd, 1)) return -1;
    if (torn()) { REAL(pwrite)(fd, data, size / 2, at); die(); }
    return REAL(pwrite)(fd, data, size, at);
}
ssize_t pwrite64(int fd, const void *data, size_t size, off64_t at) {
    if (fd_fails("write", fd, 1)) return -1;
    if (torn()) { REAL(pwrite64)(fd, data, size / 2, at); die(); }
    return REAL(pwrite64)(fd, data, size, at);
}
ssize_t writev(int fd, const struct iovec *parts, int n) { return fd_fails("write", fd, 1) ? -1 : REAL(writev)(fd, parts, n); }
ssize_t sendfile(int to, int from, off_t *at, size_t size) { return fd_fails("write", to, 1) ? -1 : REAL(sendfile)(to, from, at, size); }
ssize_t sendfile64(int to, int from, off64_t *at, size_t size) { return fd_fails("write", to, 1) ? -1 : REAL(sendfile64)(to, from, at, size); }
ssize_t copy_file_range(int from, off64_t *a, int to, off64_t *b, size_t size, unsigned flags) {
    return fd_fails("write", to, 1) ? -1 : REAL(copy_file_range)(from, a, to, b, size, flags);
}
int ftruncate(int fd, off_t size) { return fd_fails("truncate", fd, 0) ? -1 : REAL(ftruncate)(fd, size); }
int ftruncate64(int fd, off64_t size) { return fd_fails("truncate", fd, 0) ? -1 : REAL(ftruncate64)(fd, size); }
int posix_fallocate(int fd, off_t at, off_t size) { return fd_fails("allocate", fd, 1) ? errno : REAL(posix_fallocate)(fd, at, size); }
int posix_fallocate64(int fd, off64_t at, off64_t size) { return fd_fails("allocate", fd, 1) ? errno : REAL(posix_fallocate64)(fd, at, size); }
int fallocate(int fd, int how, off_t at, off_t size) { return fd_fails("allocate", fd, 1) ? -1 : REAL(fallocate)(fd, how, at, size); }
int fsync(int fd) { return fd_fails("sync", fd, 0) ? -1 : REAL(fsync)(fd); }
int fdatasync(int fd) { return fd_fails("sync", fd, 0) ? -1 : REAL(fdatasync)(fd); }

int rename(const char *from, const char *to) { return path_fails("rename", to, 1) ? -1 : REAL(rename)(from, to); }
int renameat(int a, const char *from, int b, const char *to) { return path_fails("rename", to, 1) ? -1 : REAL(renameat)(a, from, b, to); }
int link(const char *from, const char *to) { return path_fails("link", to, 1) ? -1 : REAL(link)(from, to); }
int linkat(int a, const char *from, int b, const char *to, int flags) { return path_fails("link", to, 1) ? -1 : REAL(linkat)(a, from, b, to, flags); }
int symlink(const char *to, const char *path) { return path_fails("link", path, 1) ? -1 : REAL(symlink)(to, path); }
int unlink(const char *path) { return path_fails("unlink", path, 0) ? -1 : REAL(unlink)(path); }
int unlinkat(int fd, const char *path, int flags) { return path_fails("unlink", path, 0) ? -1 : REAL(unlinkat)(fd, path, flags); }
int rmdir(const char *path) { return path_fails("unlink", path, 0) ? -1 : REAL(rmdir)(path); }
int mkdir(const char *path, mode_t rights) { return path_fails("mkdir", path, 1) ? -1 : REAL(mkdir)(path, rights); }
int mkdirat(int fd, const char *path, mode_t rights) { return path_fails("mkdir", path, 1) ? -1 : REAL(mkdirat)(fd, path, rights); }
int chmod(const char *path, mode_t rights) { return path_fails("chmod", path, 0) ? -1 : REAL(chmod)(path, rights); }
int fchmod(int fd, mode_t rights) { return fd_fails("chmod", fd, 0) ? -1 : REAL(fchmod)(fd, rights); }

/* A disk that is full says so. */
#define FILLED(name, ...)                                                                          \
    int failed = REAL(name)(__VA_ARGS__, found);                                                   \
    if (!failed && armed && mode == FULL && seen >= wanted) found->f_bfree = found->f_bavail = 0;  \
    return failed;
int statvfs(const char *path, struct statvfs *found) { FILLED(statvfs, path) }
int statvfs64(const char *path, struct statvfs64 *found) { FILLED(statvfs64, path) }
int fstatvfs(int fd, struct statvfs *found) { FILLED(fstatvfs, fd) }
int fstatvfs64(int fd, struct statvfs64 *found) { FILLED(fstatvfs64, fd) }

/* Opening counts where it makes a file or empties one. */
static int open_fails(const char *path, int flags) {
    struct stat there;
    int makes = (flags & O_CREAT) && stat(path, &there) != 0;
    return (makes || (flags & O_TRUNC)) && path_fails(makes ? "create" : "empty", path, makes);
}
#define OPENED(name, ...)                                                         \
    va_list more;                                                                 \
    va_start(more, flags);                                                        \
    mode_t rights = flags & (O_CREAT | O_TMPFILE) ? va_arg(more, mode_t) : 0;     \
    va_end(more);                                                                 \
    return armed && open_fails(path, flags) ? -1 : REAL(name)(__VA_ARGS__, rights);
int open(const char *path, int flags, ...) { OPENED(open, path, flags) }
int open64(const char *path, int flags, ...) { OPENED(open64, path, flags) }
int openat(int fd, const char *path, int flags, ...) { OPENED(openat, fd, path, flags) }
int openat64(int fd, const char *path, int flags, ...) { OPENED(openat64, fd, path, flags) }
