#!/bin/sh
# How much outlast writes to the card: runs the release build with its state folder on an ext4 file
# system of its own (a file, mounted through a loop device, so root is needed) and counts what
# reaches that device, journal and all, and how often it is flushed.
#
#   tests/card.sh [MINUTES]        default 10; a longer run is nearer to a day's mean
#
# The board is made up and its sensor's readings change every second; the settings are the default
# ones, nothing is sped up. The first minute (the empty file, the first start) is left out, the rest
# is scaled to an hour. What happens only once an hour (folding into hour rows) and every ten
# minutes (a forecast, the choices) counts in full only in runs of an hour; 61 gives that.
set -eu
minutes=${1:-10}
cd "$(dirname "$0")/.."
[ "$(id -u)" -eq 0 ] || { echo "Mounting a file system needs root: sudo tests/card.sh" >&2; exit 1; }
cargo build --release --quiet --package outlast --bin outlast
binary=${CARGO_TARGET_DIR:-target}/release/outlast

work=$(mktemp -d)
pid= feeder= loop=
finish() {
    for one in $pid $feeder; do
        kill "$one" 2>/dev/null || true
        wait "$one" 2>/dev/null || true
    done
    if mountpoint -q "$work/card"; then umount "$work/card" || true; fi
    if [ -n "$loop" ]; then losetup -d "$loop" 2>/dev/null || true; fi
    rm -rf "$work"
}
trap finish EXIT INT TERM

truncate -s 256M "$work/image"
# Blocks of 4096 bytes, as a card of a board has; a small image would get smaller ones by itself.
mkfs.ext4 -q -b 4096 -E lazy_itable_init=0,lazy_journal_init=0 "$work/image"
loop=$(losetup --find --show "$work/image")
mkdir "$work/card"
mount -o noatime "$loop" "$work/card"

. tests/invented_board.sh

# Readings that wander as real ones do, so that the rows cannot be packed away to nothing.
wander() {
    k=0
    while :; do
        k=$(((k * 1103 + 12345) % 65536))
        printf '%d\n' $((5000 + k % 120)) >"$root/$chip/hwmon/hwmon2/in1_input"
        printf '%d\n' $((560 + k % 457)) >"$root/$chip/hwmon/hwmon2/curr1_input"
        printf '%d\n' $((45000 + k % 9000)) >"$root/sys/class/thermal/thermal_zone0/temp"
        sleep 1
    done
}
wander &
feeder=$!

"$binary" run --listen 127.0.0.1:0 --sysroot "$root" --state "$work/card/outlast" \
    --settings "$settings" >"$work/out" 2>&1 &
pid=$!
sleep 60
kill -0 "$pid" 2>/dev/null || { cat "$work/out"; echo "outlast did not stay up"; exit 1; }
grep -q 'Sensor:' "$work/out" || { cat "$work/out"; echo "the sensor was not found"; exit 1; }

# Documentation/block/stat.rst: field 7 is sectors of 512 bytes written, field 16 flushes done.
counts() { awk '{ print $7, $16 }' "/sys/block/$(basename "$loop")/stat"; }
boot_s() { cut -d' ' -f1 /proc/uptime; }
sync -f "$work/card"
t0=$(boot_s) c0=$(counts)
sleep $((minutes * 60))
sync -f "$work/card"
t1=$(boot_s) c1=$(counts)
echo "$t0 $c0 $t1 $c1" | awk '{
    hours = ($4 - $1) / 3600
    kib = ($5 - $2) / 2 / hours
    printf "measured:         %.1f min\n", hours * 60
    printf "written an hour:  %.0f KiB (limit 1024)\n", kib
    printf "flushes an hour:  %.0f\n", ($6 - $3) / hours
    exit kib > 1024
}'
