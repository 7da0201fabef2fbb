#!/bin/sh
# What outlast costs: starts the release build on a made-up board with one power sensor, no page
# open, and reads the kernel's account of it for a minute.
#
#   tests/footprint.sh [SECONDS]
#
# Prints wake-ups a second (voluntary context switches of all its threads, proc_pid_status(5)),
# processor time for 1000 sweeps (schedstat of all threads, nanoseconds on the processor) and
# resident memory; and the processor time of a bare program beside it that opens and reads the same
# files every second and does nothing else. Every number is measured.
set -eu
seconds=${1:-60}
cd "$(dirname "$0")/.."
cargo build --release --quiet --package outlast --bin outlast --example bare
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

# The board: files as the kernel's drivers make them. mV, mA, µW, µΩ:
# Documentation/hwmon/sysfs-interface.rst and ina2xx.rst.
root=$work/root
chip=sys/devices/platform/soc/fe804000.i2c/i2c-1/1-0040
put() { mkdir -p "$root/$(dirname "$1")" && printf '%b' "$2" >"$root/$1"; }
put proc/device-tree/model 'Raspberry Pi 4 Model B Rev 1.4\0'
put proc/stat 'cpu  4705 150 1120 16250 520 0 45 0 0 0\ncpu0 4705 150 1120 16250 520 0 45 0 0 0\n'
put proc/uptime '228.45 655.20\n'
put proc/sys/kernel/random/boot_id '51e0c7aa-1f6e-4c63-8a0d-2b3c4d5e6f70\n'
put sys/class/thermal/thermal_zone0/type 'cpu-thermal\n'
put sys/class/thermal/thermal_zone0/temp '49660\n'
put $chip/name 'ina226\n'
put $chip/hwmon/hwmon2/name 'ina226\n'
put $chip/hwmon/hwmon2/in0_input '6\n'
put $chip/hwmon/hwmon2/in1_input '5120\n'
put $chip/hwmon/hwmon2/curr1_input '640\n'
put $chip/hwmon/hwmon2/power1_input '3275000\n'
put $chip/hwmon/hwmon2/shunt_resistor '10000\n'
mkdir -p "$root/sys/bus/i2c/drivers/ina2xx" "$root/sys/bus/i2c/devices" "$root/sys/class/hwmon"
ln -s ../../../1-0040 "$root/$chip/hwmon/hwmon2/device"
ln -s ../../../../../../bus/i2c/drivers/ina2xx "$root/$chip/driver"
ln -s "../../../devices/platform/soc/fe804000.i2c/i2c-1/1-0040" "$root/sys/bus/i2c/devices/1-0040"
ln -s "../../devices/platform/soc/fe804000.i2c/i2c-1/1-0040/hwmon/hwmon2" "$root/sys/class/hwmon/hwmon2"

settings=$work/outlast.toml
printf '[bank]\nname = "Blue ten"\nlabel_mah = 10000\n' >"$settings"
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
