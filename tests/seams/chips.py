"""Power monitors as their registers show a current: in which steps it comes, where it ends.

Sources: the data sheets. INA219 SBOS448G: shunt register 10 µV and ±320 mV, bus 4 mV, one sample 532 µs. INA226
SBOS547B: 2.5 µV and ±81.92 mV, bus 1.25 mV, means of 35 ms as the driver begins. INA228
SLYS021A: 312.5 nV and ±163.84 mV, bus 195.3125 µV, an energy count that misses nothing. The drivers print whole
milliamperes and millivolts (Documentation/hwmon/ina2xx.rst). A look is shorter than the step of the truth."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Chip:
    """A chip behind the kernel's driver."""

    name: str
    shunt_step_v: float
    shunt_full_v: float
    bus_step_v: float
    averages: bool = False
    counts_energy: bool = False
    shows_shunt: bool = True

    def milliamps(self, amps, shunt_ohm):
        """What the driver prints; at the end of the range no more."""
        steps = round(amps * shunt_ohm / self.shunt_step_v)
        over_shunt_v = max(-self.shunt_full_v, min(self.shunt_full_v, steps * self.shunt_step_v))
        return f"{over_shunt_v / shunt_ohm * 1000:.0f}\n"

    def millivolts(self, volts):
        """What the driver prints."""
        return f"{round(volts / self.bus_step_v) * self.bus_step_v * 1000:.0f}\n"


INA219 = Chip("ina219", 10e-6, 0.320, 4e-3)
INA226 = Chip("ina226", 2.5e-6, 0.0819175, 1.25e-3, averages=True)
INA228 = Chip("ina228", 312.5e-9, 0.16384, 195.3125e-6, counts_energy=True, shows_shunt=False)
