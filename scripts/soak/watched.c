/* Sees every call of a process that changes a file under one folder: writes it into a list, or lets it fail.
 *
 * LD_PRELOAD=watched.so; then watched_begin(folder, list, fail_at, errno, is_lasting). A line of the list is a kind,
 * a path, an offset and a length, followed by that many bytes. After a sync the whole file follows, so that what was
 * written past the library (stdio writes inside libc) is known too. Own code of this project; Linux.
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
#include <sys/uio.h>
#include <unistd.h>

static char root[PATH_MAX];
static int list = -1, fail_errno, is_lasting;
static long count, fail_at = -1;

#define TRUE_CALL(type, name, ...) \
  static type (*true_##name)(__VA_ARGS__); \
  if (!true_##name) true_##name = dlsym(RTLD_NEXT, #name);

static ssize_t put(int fd, const void *data, size_t size) {
  TRUE_CALL(ssize_t, write, int, const void *, size_t)
  return true_write(fd, data, size);
}

void watched_begin(const char *folder, int fd, long at, int number, int lasting) {
  snprintf(root, sizeof root, "%s", folder);
  list = fd; fail_at = at; fail_errno = number; is_lasting = lasting; count = 0;
}
long watched_count(void) { return count; }
/* A mark in the list that is no call: somebody was told. */
void watched_mark(void) { if (list >= 0) { const char *line = "told\t-\t0\t0\n"; put(list, line, strlen(line)); } }

static int is_ours(const char *path) { return root[0] && path && strncmp(path, root, strlen(root)) == 0; }
static int whole_path(int dir, const char *path, char *out) {
  if (path[0] == '/') { snprintf(out, PATH_MAX, "%s", path); return is_ours(out); }
  char link[64], base[PATH_MAX]; ssize_t n;
  if (dir == AT_FDCWD) { if (!getcwd(base, sizeof base)) return 0; }
  else { snprintf(link, sizeof link, "/proc/self/fd/%d", dir); n = readlink(link, base, sizeof base - 1); if (n < 0) return 0; base[n] = 0; }
  snprintf(out, PATH_MAX, "%s/%s", base, path); return is_ours(out);
}
static int fd_path(int fd, char *out) {
  if (!root[0] || fd == list) return 0;
  char link[64]; snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
  ssize_t n = readlink(link, out, PATH_MAX - 1); if (n < 0) return 0; out[n] = 0; return is_ours(out);
}
static int fails(void) {
  long at = count++;
  if (fail_at < 0 || at < fail_at || (at > fail_at && !is_lasting)) return 0;
  errno = fail_errno; return 1;
}
static void tell(const char *kind, const char *path, long long at, const void *data, size_t size) {
  if (list < 0) return;
  int kept = errno; char line[PATH_MAX * 2 + 64];
  int n = snprintf(line, sizeof line, "%s\t%s\t%lld\t%zu\n", kind, path, at, size);
  put(list, line, n); if (size) put(list, data, size); errno = kept;
}
static void tell_synced(int fd, const char *path) {
  struct stat about; int kept = errno;
  if (fstat(fd, &about) == 0 && S_ISREG(about.st_mode)) {
    char *data = malloc(about.st_size + 1); ssize_t n; int in = open(path, O_RDONLY);
    n = in < 0 ? -1 : pread(in, data, about.st_size, 0); if (in >= 0) close(in);
    if (n >= 0) tell("sync", path, 0, data, n);
    free(data);
  } else tell("syncdir", path, 0, 0, 0);
  errno = kept;
}

#define OPEN(name) \
  int name(const char *path, int flags, ...) { \
    TRUE_CALL(int, name, const char *, int, ...) \
    va_list more; va_start(more, flags); mode_t mode = va_arg(more, mode_t); va_end(more); \
    char full[PATH_MAX]; int changes = flags & (O_CREAT | O_TRUNC); \
    if (!changes || !whole_path(AT_FDCWD, path, full)) return true_##name(path, flags, mode); \
    int there = access(full, F_OK) == 0; \
    if (fails()) return -1; \
    int fd = true_##name(path, flags, mode); \
    if (fd >= 0 && !there) tell("create", full, 0, 0, 0); \
    if (fd >= 0 && there && (flags & O_TRUNC)) tell("cut", full, 0, 0, 0); \
    return fd; }
OPEN(open) OPEN(open64)
#define OPENAT(name) \
  int name(int dir, const char *path, int flags, ...) { \
    TRUE_CALL(int, name, int, const char *, int, ...) \
    va_list more; va_start(more, flags); mode_t mode = va_arg(more, mode_t); va_end(more); \
    char full[PATH_MAX]; int changes = flags & (O_CREAT | O_TRUNC); \
    if (!changes || !whole_path(dir, path, full)) return true_##name(dir, path, flags, mode); \
    int there = access(full, F_OK) == 0; \
    if (fails()) return -1; \
    int fd = true_##name(dir, path, flags, mode); \
    if (fd >= 0 && !there) tell("create", full, 0, 0, 0); \
    if (fd >= 0 && there && (flags & O_TRUNC)) tell("cut", full, 0, 0, 0); \
    return fd; }
OPENAT(openat) OPENAT(openat64)

ssize_t write(int fd, const void *data, size_t size) {
  TRUE_CALL(ssize_t, write, int, const void *, size_t)
  char path[PATH_MAX]; if (!fd_path(fd, path)) return true_write(fd, data, size);
  if (fails()) return -1;
  long long at = (fcntl(fd, F_GETFL) & O_APPEND) ? lseek(fd, 0, SEEK_END) : lseek(fd, 0, SEEK_CUR);
  ssize_t n = true_write(fd, data, size); if (n > 0) tell("write", path, at, data, n); return n;
}
#define PWRITE(name, off) \
  ssize_t name(int fd, const void *data, size_t size, off at) { \
    TRUE_CALL(ssize_t, name, int, const void *, size_t, off) \
    char path[PATH_MAX]; if (!fd_path(fd, path)) return true_##name(fd, data, size, at); \
    if (fails()) return -1; \
    ssize_t n = true_##name(fd, data, size, at); if (n > 0) tell("write", path, at, data, n); return n; }
PWRITE(pwrite, off_t) PWRITE(pwrite64, off64_t)
#define CUT(name, off) \
  int name(int fd, off size) { \
    TRUE_CALL(int, name, int, off) \
    char path[PATH_MAX]; if (!fd_path(fd, path)) return true_##name(fd, size); \
    if (fails()) return -1; \
    int n = true_##name(fd, size); if (n == 0) tell("cut", path, size, 0, 0); return n; }
CUT(ftruncate, off_t) CUT(ftruncate64, off64_t)
#define SYNC(name) \
  int name(int fd) { \
    TRUE_CALL(int, name, int) \
    char path[PATH_MAX]; if (!fd_path(fd, path)) return true_##name(fd); \
    if (fails()) return -1; \
    int n = true_##name(fd); if (n == 0) tell_synced(fd, path); return n; }
SYNC(fsync) SYNC(fdatasync)
static int moved(const char *from, const char *to) {
  char line[PATH_MAX * 2 + 2]; snprintf(line, sizeof line, "%s", to); tell("move", from, 0, line, strlen(line)); return 0;
}
int rename(const char *from, const char *to) {
  TRUE_CALL(int, rename, const char *, const char *)
  char a[PATH_MAX], b[PATH_MAX]; if (!whole_path(AT_FDCWD, from, a) | !whole_path(AT_FDCWD, to, b)) return true_rename(from, to);
  if (fails()) return -1;
  int n = true_rename(from, to); if (n == 0) moved(a, b); return n;
}
int renameat(int d, const char *from, int e, const char *to) {
  TRUE_CALL(int, renameat, int, const char *, int, const char *)
  char a[PATH_MAX], b[PATH_MAX]; if (!whole_path(d, from, a) | !whole_path(e, to, b)) return true_renameat(d, from, e, to);
  if (fails()) return -1;
  int n = true_renameat(d, from, e, to); if (n == 0) moved(a, b); return n;
}
int unlink(const char *path) {
  TRUE_CALL(int, unlink, const char *)
  char full[PATH_MAX]; if (!whole_path(AT_FDCWD, path, full)) return true_unlink(path);
  if (fails()) return -1;
  int n = true_unlink(path); if (n == 0) tell("unlink", full, 0, 0, 0); return n;
}
int unlinkat(int dir, const char *path, int flags) {
  TRUE_CALL(int, unlinkat, int, const char *, int)
  char full[PATH_MAX]; if (!whole_path(dir, path, full) || flags) return true_unlinkat(dir, path, flags);
  if (fails()) return -1;
  int n = true_unlinkat(dir, path, flags); if (n == 0) tell("unlink", full, 0, 0, 0); return n;
}
int mkdir(const char *path, mode_t mode) {
  TRUE_CALL(int, mkdir, const char *, mode_t)
  char full[PATH_MAX]; if (!whole_path(AT_FDCWD, path, full)) return true_mkdir(path, mode);
  if (fails()) return -1;
  int n = true_mkdir(path, mode); if (n == 0) tell("mkdir", full, 0, 0, 0); return n;
}
