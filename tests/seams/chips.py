"""Power monitors as their registers show a current: how long one look lasts, in which steps it comes, where it ends.

Sources: the data sheets. INA219 SBOS448G: shunt register 10 µV and ±320 mV, bus 4 mV, one sample 532 µs. INA226
SBOS547B: 2.5 µV and ±81.92 mV, bus 1.25 mV, 1.1 ms for each of shunt and bus, means of 1 to 1024 of them. INA228
SLYS021A: 312.5 nV and ±163.84 mV, bus 195.3125 µV, an energy count that misses nothing. The drivers print whole
milliamperes and millivolts, and the INA226's `update_interval` is one round of samples times their number
(Documentation/hwmon/ina2xx.rst)."""

from dataclasses import dataclass

AVERAGES = (1, 4, 16, 64, 128, 256, 512, 1024)
ROUND_MS = 2.2


@dataclass(frozen=True)
class Chip:
    """A chip behind the kernel's driver."""

    name: str
    shunt_step_v: float
    shunt_full_v: float
    bus_step_v: float
    look_s: float
    averages: bool = False
    counts_energy: bool = False
    shows_shunt: bool = True
    snapshot: bool = False

    def milliamps(self, amps, shunt_ohm):
        """What the driver prints; at the end of the range no more."""
        steps = round(amps * shunt_ohm / self.shunt_step_v)
        over_shunt_v = max(-self.shunt_full_v, min(self.shunt_full_v, steps * self.shunt_step_v))
        return f"{over_shunt_v / shunt_ohm * 1000:.0f}\n"

    def millivolts(self, volts):
        """What the driver prints."""
        return f"{round(volts / self.bus_step_v) * self.bus_step_v * 1000:.0f}\n"

    def most_amps(self, shunt_ohm):
        """The end of its range."""
        return self.shunt_full_v / shunt_ohm


INA219 = Chip("ina219", 10e-6, 0.320, 4e-3, 0.000532, snapshot=True)
INA226 = Chip("ina226", 2.5e-6, 0.0819175, 1.25e-3, 0.0352, averages=True)
INA228 = Chip("ina228", 312.5e-9, 0.16384, 195.3125e-6, 0.0352, counts_energy=True, shows_shunt=False)


def settled_ms(asked_ms):
    """What an `update_interval` that was written reads as: the driver takes the nearest number of samples."""
    return min((round(times * ROUND_MS) for times in AVERAGES), key=lambda ms: abs(ms - asked_ms))
