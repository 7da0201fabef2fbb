"""What the power-monitor chips hold in their registers for a given voltage and current.

The kernel's i2c-stub keeps registers but computes nothing, so the chips' own arithmetic is done
here, from their data sheets (Texas Instruments): INA219 SBOS448G, INA226 SBOS547B, INA238
SBOSA20C, INA260 SBOS656C, INA3221 SBOS576B. The calibration is the one that stands in the emulated chip at that moment,
so a chip that has lost it shows no current, as a real one does.

Registers are 16 bits, most significant byte first on the wire; an SMBus word travels least
significant byte first, so every word is swapped on its way into the emulated chip.
"""


def _swap(word):
    return (word & 0xFF) << 8 | (word >> 8) & 0xFF


def _signed(word):
    return word - 0x10000 if word & 0x8000 else word


class Wire:
    """The emulated bus, reached through the guest's shell and its i2c tools.

    The tools are told to go ahead even where a driver owns the address (-f): this is the chip's
    inside changing, not somebody talking to it.
    """

    def __init__(self, board, bus):
        self.board, self.bus = board, bus

    def put(self, address, registers):
        """Sets 16-bit registers."""
        lines = [f"i2cset -f -y {self.bus} 0x{address:02x} 0x{register:02x} 0x{_swap(value & 0xFFFF):04x} w"
                 for register, value in registers.items()]
        self.board.run("set -e\n" + "\n".join(lines))

    def put_bytes(self, address, first, data):
        """Sets the low bytes of consecutive registers: where i2c-stub takes a block read from."""
        lines = [f"i2cset -f -y {self.bus} 0x{address:02x} 0x{first + k:02x} 0x{byte:02x} b" for k, byte in enumerate(data)]
        self.board.run("set -e\n" + "\n".join(lines))

    def get(self, address, registers):
        """Reads 16-bit registers; a list of numbers."""
        lines = [f"i2cget -f -y {self.bus} 0x{address:02x} 0x{register:02x} w" for register in registers]
        return [_swap(int(word, 16)) for word in self.board.run("set -e\n" + "\n".join(lines)).split()]

    def everything(self, address):
        """All 256 registers of an address."""
        text = self.board.run(
            f"r=0; while [ $r -lt 256 ]; do i2cget -f -y {self.bus} 0x{address:02x} $(printf 0x%02x $r) w || exit 1; r=$((r+1)); done")
        return [_swap(int(word, 16)) for word in text.split()]


class Chip:
    """One chip with the shunt that is really soldered beside it."""

    driver = None
    power_on = {}
    identity = {}
    volts_lsb = amps_lsb_volts = None

    def __init__(self, address, shunt_ohm):
        self.address, self.shunt = address, shunt_ohm

    def reset(self, wire, identity=False):
        """Registers as after power-on; with or without the identification that the chip has."""
        wire.put(self.address, {**self.power_on, **(self.identity if identity else dict.fromkeys(self.identity, 0))})

    def amps_step(self):
        """The current that one count of the shunt register means, amperes."""
        return self.amps_lsb_volts / self.shunt

    def counts(self, volts, amps):
        """(bus, shunt) in counts of the chip."""
        return round(volts / self.volts_lsb), round(amps * self.shunt / self.amps_lsb_volts)


class Ina219(Chip):
    """INA219 (SBOS448G section 8.6): shunt 10 uV, bus 4 mV in bits 15:3, conversion ready in bit 1."""

    name, driver = "ina219", "ina2xx"
    power_on = {0: 0x399F, 1: 0, 2: 0, 3: 0, 4: 0, 5: 0}
    volts_lsb, amps_lsb_volts = 4e-3, 10e-6

    def set(self, wire, volts, amps):
        """This voltage and current at the chip's pins."""
        bus, shunt = self.counts(volts, amps)
        (calibration,) = wire.get(self.address, [5])
        current = shunt * calibration // 4096
        wire.put(self.address, {1: shunt, 2: bus << 3 | 2, 4: current, 3: abs(current) * bus // 5000})


class Ina226(Chip):
    """INA226 (SBOS547B section 7): shunt 2.5 uV, bus 1.25 mV."""

    name, driver = "ina226", "ina2xx"
    power_on = {0: 0x4127, 1: 0, 2: 0, 3: 0, 4: 0, 5: 0, 6: 0, 7: 0}
    identity = {0xFE: 0x5449, 0xFF: 0x2260}
    volts_lsb, amps_lsb_volts = 1.25e-3, 2.5e-6

    def set(self, wire, volts, amps):
        """This voltage and current at the chip's pins."""
        bus, shunt = self.counts(volts, amps)
        (calibration,) = wire.get(self.address, [5])
        current = shunt * calibration // 2048
        # 06 bit 3: a conversion is ready
        wire.put(self.address, {1: shunt, 2: bus, 4: current, 3: abs(current) * bus // 20000, 6: 0x0008})


class Ina260(Chip):
    """INA260 (SBOS656C section 8.6): its 2 milliohm shunt is inside; current 1.25 mA, bus 1.25 mV."""

    name, driver = "ina260", None
    power_on = {0: 0x6127, 1: 0, 2: 0, 3: 0, 6: 0, 7: 0}
    identity = {0xFE: 0x5449, 0xFF: 0x2270}
    volts_lsb, amps_lsb_volts = 1.25e-3, 2.5e-6

    def __init__(self, address):
        super().__init__(address, 0.002)

    def set(self, wire, volts, amps):
        """This voltage and current at the chip's pins."""
        bus, current = self.counts(volts, amps)
        wire.put(self.address, {1: current, 2: bus, 3: round(abs(current * 1.25e-3 * bus * 1.25e-3) / 10e-3), 6: 0x0008})


class Ina238(Chip):
    """INA238 (SLYS025B): shunt 5 uV, bus 3.125 mV, 24-bit power.

    CURRENT counts CURRENT_LSB, and SHUNT_CAL = 819.2e6 x CURRENT_LSB x R, hence CURRENT =
    VSHUNT x 4096 / SHUNT_CAL; POWER counts 0.2 x CURRENT_LSB. (The two constants from memory; the
    first check of this chip, the driver's own reading, would show them wrong.)
    """

    name, driver = "ina238", "ina238"
    power_on = {0: 0, 1: 0xFB68, 2: 0x1000, 4: 0, 5: 0, 6: 0, 7: 0, 0xB: 0x0001}
    identity = {0x3E: 0x5449, 0x3F: 0x2381}
    volts_lsb, amps_lsb_volts = 3.125e-3, 5e-6

    def set(self, wire, volts, amps):
        """This voltage and current at the chip's pins; 25 degrees inside."""
        bus, shunt = self.counts(volts, amps)
        (calibration,) = wire.get(self.address, [2])
        current = int(shunt * 4096 / calibration) if calibration else 0
        power = int(abs(current) * bus * 3.125e-3 / 0.2)
        wire.put(self.address, {4: shunt, 5: bus, 6: 200 << 4, 7: current})
        wire.put_bytes(self.address, 8, power.to_bytes(3, "big"))


class Ina3221(Chip):
    """INA3221 (SBOS576B section 8.6): three channels, shunt 40 uV and bus 8 mV, both in bits 15:3."""

    name, driver = "ina3221", "ina3221"
    power_on = {0: 0x7127, 1: 0, 2: 0, 3: 0, 4: 0, 5: 0, 6: 0, 0xD: 0, 0xF: 0x0003}
    identity = {0xFE: 0x5449, 0xFF: 0x3220}
    volts_lsb, amps_lsb_volts = 8e-3, 40e-6

    def set(self, wire, *channels):
        """A (volts, amps) pair for each of the three channels."""
        registers, total = {0xF: 0x0003}, 0
        for k, (volts, amps) in enumerate(channels):
            bus, shunt = self.counts(volts, amps)
            registers[1 + 2 * k], registers[2 + 2 * k] = shunt << 3, bus << 3
            total += shunt
        registers[0xD] = total << 1
        wire.put(self.address, registers)
