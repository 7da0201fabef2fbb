# Read by the scripts that measure outlast on a made-up board: lays it below $work/root, with one
# power sensor at $chip, and settings that name its bank.
# Files as the kernel's drivers make them. mV, mA, µW, µΩ:
# Documentation/hwmon/sysfs-interface.rst and ina2xx.rst.
root=$work/root
chip=sys/devices/platform/soc/fe804000.i2c/i2c-1/1-0040
put() { mkdir -p "$root/$(dirname "$1")" && printf '%b' "$2" >"$root/$1"; }
put proc/device-tree/model 'Raspberry Pi 4 Model B Rev 1.4\0'
put proc/device-tree/compatible 'raspberrypi,4-model-b\0brcm,bcm2711\0'
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
