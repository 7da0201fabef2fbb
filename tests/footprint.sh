#!/bin/sh
# What outlast costs: starts the release build on a made-up board with one power sensor, no page
# open, and reads the kernel's account of it for a minute.
#
#   tests/footprint.sh [SECONDS]
#
# Prints wake-ups a second (voluntary context switches of all its threads, proc_pid_status(5)),
# processor time for 1000 sweeps (schedstat of all threads, nanoseconds on the processor) and
# resident memory; and the processor time of a bare program beside it that opens and reads the same
# files every second and does nothing else. Then twenty phones watch for half a minute: how long Now
# takes, and the memory again. Every number is measured. On a machine that is busy otherwise the
# times say more under `chrt --fifo 20`, which needs root.
set -eu
seconds=${1:-60}
cd "$(dirname "$0")/.."
cargo build --release --quiet --package outlast --bin outlast --example bare --example phones
bare=${CARGO_TARGET_DIR:-target}/release/examples/bare
binary=${CARGO_TARGET_DIR:-target}/release/outlast

work=$(mktemp -d)
pid= bare_pid=
finish() {
    for one in $pid $bare_pid; do
        kill "$one" 2>/dev/null || true
        wait "$one" 2>/dev/null || true
    done
    rm -rf "$work"
}
trap finish EXIT INT TERM

. tests/invented_board.sh

"$binary" run --listen 127.0.0.1:0 --sysroot "$root" --state "$work/state" --settings "$settings" \
    >"$work/out" 2>&1 &
pid=$!
"$bare" "$root/proc/stat" "$root/sys/class/thermal/thermal_zone0/temp" \
    "$root/sys/class/hwmon/hwmon2/in1_input" "$root/sys/class/hwmon/hwmon2/curr1_input" &
bare_pid=$!
# Sources are asked on threads of their own until they have proved fast.
sleep 20
kill -0 "$pid" 2>/dev/null || { cat "$work/out"; echo "outlast did not stay up"; exit 1; }
grep -q 'Sensor:' "$work/out" || { cat "$work/out"; echo "the sensor was not found"; exit 1; }

switches() { cat /proc/"$1"/task/*/status | awk '/^voluntary_ctxt_switches/ { n += $2 } END { print n }'; }
on_processor_ns() { cat /proc/"$1"/task/*/schedstat | awk '{ n += $1 } END { printf "%.0f\n", n }'; }
boot_s() { cut -d' ' -f1 /proc/uptime; }

t0=$(boot_s) s0=$(switches "$pid") c0=$(on_processor_ns "$pid") b0=$(on_processor_ns "$bare_pid")
sleep "$seconds"
t1=$(boot_s) s1=$(switches "$pid") c1=$(on_processor_ns "$pid") b1=$(on_processor_ns "$bare_pid")
rss=$(awk '/^VmRSS/ { print $2 }' /proc/"$pid"/status)
anon=$(awk '/^RssAnon/ { print $2 }' /proc/"$pid"/status)
threads=$(awk '/^Threads/ { print $2 }' /proc/"$pid"/status)
awk -v t0="$t0" -v t1="$t1" -v s0="$s0" -v s1="$s1" -v c0="$c0" -v c1="$c1" -v b0="$b0" -v b1="$b1" \
    -v rss="$rss" -v anon="$anon" -v threads="$threads" 'BEGIN {
    span = t1 - t0
    printf "wake-ups a second:            %.2f\n", (s1 - s0) / span
    printf "processor time, 1000 sweeps:  %.0f ms\n", (c1 - c0) / 1e6 / span * 1000
    printf "  a bare program:             %.0f ms\n", (b1 - b0) / 1e6 / span * 1000
    printf "  outlast costs so many times: %.1f\n", (c1 - c0) / (b1 - b0)
    printf "resident memory:              %d KiB, of it %d KiB not backed by files\n", rss, anon
    printf "threads:                      %d\n", threads
    printf "binary:                       "
}'
wc -c <"$binary" | awk '{ printf "%.2f MB\n", $1 / 1e6 }'

at=$(grep -o '127\.0\.0\.1:[0-9]*' "$work/out" | head -n 1)
"${bare%bare}phones" "$at" 20 30
awk '/^VmRSS/ { printf "resident memory then:         %d KiB\n", $2 }' /proc/"$pid"/status
