"""A made-up board: the files of /proc, /sys and /run that outlast reads, below a folder, with a power monitor in the
bank's lead behind the kernel's driver. Names and units as the kernel documents them:
Documentation/hwmon/sysfs-interface.rst (mV, mA, µW), Documentation/hwmon/ina2xx.rst (shunt_resistor in µΩ)."""

import os
import struct
import uuid
from pathlib import Path

from chips import INA226

DEVICE = "sys/devices/platform/soc/fe804000.i2c/i2c-1/1-0040"
MONITOR = f"{DEVICE}/hwmon/hwmon2"
CLASS = "sys/class/hwmon/hwmon2"
AWAY = f"{DEVICE}/away"
BOOT = "proc/sys/kernel/random/boot_id"
# Touched at each synchronisation: systemd-timesyncd(8).
SYNCHRONISED = "run/systemd/timesync/synchronized"
# What enabling the unit makes: systemd.unit(5).
POWER_OFF = "etc/systemd/system/multi-user.target.wants/outlast-poweroff.path"
SHUNT_OHM = 0.010
CORES = 4


class Attribute:
    """A file rewritten in place, as a driver's attribute would be."""

    def __init__(self, path, text):
        path.write_text(text)
        self._file = os.open(path, os.O_RDWR | os.O_CLOEXEC)
        self._text = text

    def put(self, text):
        """It reads so from now on."""
        if text == self._text:
            return
        os.pwrite(self._file, text.encode(), 0)
        if len(text) < len(self._text):
            os.ftruncate(self._file, len(text))
        self._text = text

    def close(self):
        """Lets go of the file."""
        os.close(self._file)


class Board:
    """The folder that is read instead of the root."""

    def __init__(self, root, chip=INA226, shunt_ohm=SHUNT_OHM):
        self.root, self.chip, self.shunt_ohm = Path(root), chip, shunt_ohm
        self.put("proc/device-tree/model", "Raspberry Pi 4 Model B Rev 1.4\0")
        self.put("proc/loadavg", "0.42 0.31 0.12 1/143 2211\n")
        self.put("sys/class/thermal/thermal_zone0/type", "cpu-thermal\n")
        self.put("sys/class/thermal/thermal_zone0/temp", "49660\n")
        self.put("sys/devices/system/cpu/cpufreq/policy0/scaling_cur_freq", "1500000\n")
        self._busy = self._idle = 0.0
        self.put("proc/stat", "")
        self._stat = Attribute(self.root / "proc/stat", self._stat_text())
        self._sensor()
        self.another_boot()

    def put(self, place, text=""):
        """A file, with its folders."""
        path = self.root / place
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text)

    def _link(self, place, to):
        path = self.root / place
        path.parent.mkdir(parents=True, exist_ok=True)
        path.symlink_to(to)

    def _sensor(self):
        name = f"{self.chip.name}\n"
        self.put(f"{DEVICE}/name", name)
        for place, text in (("name", name), ("in0_input", "0\n"), ("power1_input", "0\n")):
            self.put(f"{MONITOR}/{place}", text)
        if self.chip.shows_shunt:
            self.put(f"{MONITOR}/shunt_resistor", f"{self.shunt_ohm * 1e6:.0f}\n")
        else:
            (self.root / DEVICE / "of_node").mkdir()
            (self.root / DEVICE / "of_node/shunt-resistor").write_bytes(struct.pack(">I", round(self.shunt_ohm * 1e6)))
        if self.chip.averages:
            self.put(f"{MONITOR}/update_interval", "35\n")
        self._link(f"{MONITOR}/device", "../../../1-0040")
        (self.root / "sys/bus/i2c/drivers/ina2xx").mkdir(parents=True)
        self._link(f"{DEVICE}/driver", "../../../../../../bus/i2c/drivers/ina2xx")
        self._link("sys/bus/i2c/devices/1-0040", "../../../devices/platform/soc/fe804000.i2c/i2c-1/1-0040")
        self._link(CLASS, f"../../devices/{MONITOR.removeprefix('sys/devices/')}")
        self._volts = Attribute(self.root / MONITOR / "in1_input", "0\n")
        self._amps = Attribute(self.root / MONITOR / "curr1_input", "0\n")
        self._count = Attribute(self.root / MONITOR / "energy1_input", "0\n") if self.chip.counts_energy else None
        self._counted_j = 0.0
        self._there = True

    def reading(self, volts, amps):
        """The chip sees this; the driver prints it as its registers hold it."""
        self._amps.put(self.chip.milliamps(amps, self.shunt_ohm))
        self._volts.put(self.chip.millivolts(volts))

    def counted(self, wh):
        """So much has flowed through the chip; one that counts energy has counted it."""
        self._counted_j += wh * 3600.0
        if self._count:
            self._count.put(f"{self._counted_j * 1e6:.0f}\n")

    def sensor(self, there):
        """The driver holds the chip, or lets go of it: its files vanish."""
        if there == self._there:
            return
        self._there = there
        if there:
            (self.root / AWAY).rename(self.root / MONITOR)
            self._link(CLASS, f"../../devices/{MONITOR.removeprefix('sys/devices/')}")
        else:
            (self.root / CLASS).unlink()
            (self.root / MONITOR).rename(self.root / AWAY)

    def work(self, span_s, busy):
        """The processor was busy for this share of the time."""
        self._busy += busy * span_s * CORES
        self._idle += (1 - busy) * span_s * CORES
        self._stat.put(self._stat_text())

    def _stat_text(self):
        busy, idle = int(self._busy * 100), int(self._idle * 100)
        lines = [f"cpu  {busy} 0 0 {idle} 0 0 0 0 0 0\n"]
        lines += [f"cpu{core} {busy // CORES} 0 0 {idle // CORES} 0 0 0 0 0 0\n" for core in range(CORES)]
        return "".join(lines)

    def another_boot(self):
        """The kernel gives itself a new identity, knows no time server yet and has not worked."""
        self.put(BOOT, f"{uuid.uuid4()}\n")
        self._busy = self._idle = 0.0
        self._stat.put(self._stat_text())
        (self.root / SYNCHRONISED).unlink(missing_ok=True)

    def synchronised(self):
        """A time server has been heard."""
        self.put(SYNCHRONISED)

    def install_power_off(self):
        """The unit that switches off is enabled."""
        self._link(POWER_OFF, "/usr/lib/systemd/system/outlast-poweroff.path")

    def close(self):
        """Lets go of the files."""
        for attribute in (self._stat, self._volts, self._amps, self._count):
            if attribute:
                attribute.close()
