/* Time by hand for an unmodified program.
 *
 * Preloaded, it takes boot time and wall time from a page that the test shares and moves; a sleep until
 * a moment of boot time ends when the page has come so far. Every other clock, sleep and wait stays real.
 *
 * The test itself loads the same file to move the page and to wait until the program rests.
 *
 * 64-bit Linux only: the calls are those of a C library whose time_t has 64 bits.
 */
#define _GNU_SOURCE
#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <linux/futex.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/syscall.h>
#include <time.h>
#include <unistd.h>

_Static_assert(sizeof(time_t) == 8, "clock calls of 32-bit systems have other names");

#define BILLION 1000000000LL

/* The page. `station.py` knows the same layout. */
struct page {
    int64_t boot_ns;       /* time since boot */
    int64_t wall_at_boot_ns; /* wall time of boot */
    int64_t wanted_ns;     /* the moment that the program last slept for */
    uint32_t turn;         /* counts the moves; sleepers wait for it to change */
};

static struct page *page;

static int64_t get(const int64_t *field) { return __atomic_load_n(field, __ATOMIC_SEQ_CST); }
static void set(int64_t *field, int64_t value) { __atomic_store_n(field, value, __ATOMIC_SEQ_CST); }

__attribute__((constructor)) static void find_page(void) {
    const char *path = getenv("SEAMS_CLOCKS");
    if (!path) return;
    int file = open(path, O_RDWR | O_CLOEXEC);
    if (file < 0) abort();
    void *at = mmap(NULL, sizeof(struct page), PROT_READ | PROT_WRITE, MAP_SHARED, file, 0);
    if (at == MAP_FAILED) abort();
    close(file);
    page = at;
}

/* ---- in the program ------------------------------------------------------------------------ */

static int64_t in_ns(const struct timespec *t) { return t->tv_sec * BILLION + t->tv_nsec; }

static struct timespec of_ns(int64_t ns) {
    return (struct timespec){.tv_sec = ns / BILLION, .tv_nsec = ns % BILLION};
}

int clock_gettime(clockid_t clock, struct timespec *out) {
    if (page && clock == CLOCK_BOOTTIME) {
        *out = of_ns(get(&page->boot_ns));
        return 0;
    }
    if (page && clock == CLOCK_REALTIME) {
        *out = of_ns(get(&page->boot_ns) + get(&page->wall_at_boot_ns));
        return 0;
    }
    return syscall(SYS_clock_gettime, clock, out);
}

int clock_settime(clockid_t clock, const struct timespec *to) {
    if (page && clock == CLOCK_REALTIME) {
        set(&page->wall_at_boot_ns, in_ns(to) - get(&page->boot_ns));
        return 0;
    }
    errno = EPERM; /* nobody here may touch the machine's own clock */
    return -1;
}

int clock_nanosleep(clockid_t clock, int flags, const struct timespec *span, struct timespec *left) {
    if (!page || clock != CLOCK_BOOTTIME || !(flags & TIMER_ABSTIME))
        return syscall(SYS_clock_nanosleep, clock, flags, span, left) == 0 ? 0 : errno;
    int64_t until = in_ns(span);
    set(&page->wanted_ns, until);
    for (;;) {
        uint32_t turn = __atomic_load_n(&page->turn, __ATOMIC_SEQ_CST);
        if (get(&page->boot_ns) >= until) return 0;
        syscall(SYS_futex, &page->turn, FUTEX_WAIT, turn, NULL, NULL, 0);
    }
}

/* ---- in the test --------------------------------------------------------------------------- */

/* Moves boot time there and wakes whoever slept for it. */
void seams_move(struct page *to, int64_t boot_ns) {
    set(&to->boot_ns, boot_ns);
    __atomic_add_fetch(&to->turn, 1, __ATOMIC_SEQ_CST);
    syscall(SYS_futex, &to->turn, FUTEX_WAKE, INT_MAX, NULL, NULL, 0);
}

#define MOST_THREADS 64

struct look {
    int threads;
    int asleep;
    int dead;
    struct { long id, switches; } of[MOST_THREADS];
};

/* The number behind `word` in a file of /proc. */
static long number_after(const char *text, const char *word) {
    const char *at = strstr(text, word);
    return at ? atol(at + strlen(word)) : -1;
}

/* Every thread: whether it sleeps, and how often it has left the processor so far. */
static int look_at(int pid, struct look *look) {
    char path[64], text[4096];
    look->threads = 0;
    look->asleep = 1;
    look->dead = 0;
    snprintf(path, sizeof path, "/proc/%d/task", pid);
    DIR *tasks = opendir(path);
    if (!tasks) return -1;
    for (struct dirent *task; (task = readdir(tasks));) {
        long id = atol(task->d_name);
        if (id <= 0) continue;
        snprintf(path, sizeof path, "/proc/%d/task/%ld/status", pid, id);
        int file = open(path, O_RDONLY | O_CLOEXEC);
        ssize_t length = file < 0 ? -1 : read(file, text, sizeof text - 1);
        if (file >= 0) close(file);
        if (length <= 0 || look->threads == MOST_THREADS) { look->asleep = 0; continue; }
        text[length] = 0;
        const char *state = strstr(text, "State:\t");
        if (!state || state[7] != 'S') look->asleep = 0;
        look->dead += state && state[7] == 'Z';
        look->of[look->threads].id = id;
        look->of[look->threads].switches = number_after(text, "\nvoluntary_ctxt_switches:")
            + number_after(text, "\nnonvoluntary_ctxt_switches:");
        look->threads++;
    }
    closedir(tasks);
    return look->threads > look->dead ? 0 : -1; /* a dead one waits for the test to fetch it */
}

static int same(const struct look *a, const struct look *b) {
    return a->threads == b->threads && !memcmp(a->of, b->of, sizeof a->of[0] * a->threads);
}

/* Waits until the program sleeps for a moment that is still to come and every thread of it rests: two
 * looks one after the other found all of them asleep, and none had run in between, so at the moment
 * between the looks all slept at once. 0: it rests; -1: it has ended; -2: it did not come to rest. */
int seams_settle(struct page *of, int pid, int patience_ms) {
    static __thread struct look looks[2];
    struct timespec now, pause = {.tv_nsec = 20000};
    syscall(SYS_clock_gettime, CLOCK_MONOTONIC, &now);
    int64_t end = in_ns(&now) + patience_ms * 1000000LL;
    int had = 0;
    for (int turn = 0;; turn ^= 1) {
        if (get(&of->wanted_ns) > get(&of->boot_ns)) {
            if (look_at(pid, &looks[turn])) return -1;
            if (had && looks[turn].asleep && looks[turn ^ 1].asleep && same(&looks[0], &looks[1])) return 0;
            had = 1;
            if (looks[turn].asleep) continue;
        }
        syscall(SYS_clock_gettime, CLOCK_MONOTONIC, &now);
        if (in_ns(&now) > end) return -2;
        if (!had && look_at(pid, &looks[turn])) return -1;
        syscall(SYS_nanosleep, &pause, NULL);
    }
}
