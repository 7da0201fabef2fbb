/* The phone's time of day, in step with hours that are played.
 *
 * Preloaded into the browser, it puts so many nanoseconds on top of the machine's wall clock as the page
 * in memory says. Every other clock stays real, as on a phone: its monotonic clock knows nothing of the
 * time that it slept (clock_gettime(2), CLOCK_MONOTONIC).
 */
#define _GNU_SOURCE
#include <fcntl.h>
#include <stdint.h>
#include <stdlib.h>
#include <sys/mman.h>
#include <sys/syscall.h>
#include <sys/time.h>
#include <time.h>
#include <unistd.h>

#define BILLION 1000000000LL

static const int64_t *ahead_ns;

__attribute__((constructor)) static void find_page(void) {
    const char *path = getenv("PHONE_CLOCK");
    if (!path) return;
    int file = open(path, O_RDONLY | O_CLOEXEC);
    if (file < 0) abort();
    void *at = mmap(NULL, sizeof *ahead_ns, PROT_READ, MAP_SHARED, file, 0);
    if (at == MAP_FAILED) abort();
    close(file);
    ahead_ns = at;
}

int clock_gettime(clockid_t clock, struct timespec *out) {
    long failed = syscall(SYS_clock_gettime, clock, out);
    if (failed || !ahead_ns || (clock != CLOCK_REALTIME && clock != CLOCK_REALTIME_COARSE)) return failed;
    int64_t ns = out->tv_sec * BILLION + out->tv_nsec + __atomic_load_n(ahead_ns, __ATOMIC_SEQ_CST);
    *out = (struct timespec){.tv_sec = ns / BILLION, .tv_nsec = ns % BILLION};
    return 0;
}

int gettimeofday(struct timeval *restrict out, void *restrict zone) {
    struct timespec now;
    (void)zone;
    clock_gettime(CLOCK_REALTIME, &now);
    *out = (struct timeval){.tv_sec = now.tv_sec, .tv_usec = now.tv_nsec / 1000};
    return 0;
}

time_t time(time_t *out) {
    struct timespec now;
    clock_gettime(CLOCK_REALTIME, &now);
    if (out) *out = now.tv_sec;
    return now.tv_sec;
}
