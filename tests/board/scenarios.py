"""What is checked on the virtual board. Each scenario starts outlast anew in the same boot."""

import json
import random
import re
import time

import chips
from outlast import LONG_SIX

# A source has to be noticed, or missed, within this many seconds.
NOTICE_S = 15
# A changed register has to be on the page within this many: one sweep a second, one more for the
# averaging of several looks, and the emulation's slowness.
FOLLOW_S = 6

# The emulated bus: who sits where.
ADDRESSES = {
    "ina219": 0x40, "ina226": 0x41, "ina3221": 0x42, "stranger": 0x43,
    "direct226": 0x44, "ina238": 0x45, "direct219": 0x46, "untold219": 0x47,
    "lm75": 0x48, "direct260": 0x49,
}
# Our own tools in the guest; whoever else talks on the bus is the program under test.
OUR_TOOLS = {"sh", "i2cset", "i2cget", "modprobe", "busybox"}


class Bench:
    """Board, bus, program and tally together."""

    def __init__(self, board, outlast, tally):
        self.board, self.outlast, self.tally = board, outlast, tally
        self.bus = self._plug_in_bus()
        self.wire = chips.Wire(board, self.bus)

    def _plug_in_bus(self):
        listed = ",".join(hex(address) for address in sorted(ADDRESSES.values()))
        self.board.run(f"modprobe i2c-stub chip_addr={listed}; mount -t tracefs tracefs /sys/kernel/tracing")
        text = self.board.run("grep -H stub /sys/bus/i2c/devices/i2c-*/name")
        return int(re.search(r"i2c-(\d+)/name", text)[1])

    def place(self, address):
        """The kernel's name of an address on this bus, such as 0-0041."""
        return f"{self.bus}-{address:04x}"

    def add(self, name, address):
        """Tells the kernel of a chip; its driver binds."""
        self.board.run(f"echo {name} 0x{address:02x} > /sys/bus/i2c/devices/i2c-{self.bus}/new_device")

    def remove(self, address):
        """Takes the chip from the kernel's list."""
        self.board.run(f"echo 0x{address:02x} > /sys/bus/i2c/devices/i2c-{self.bus}/delete_device")

    def hwmon(self, address):
        """The number of the chip's hardware monitor, such as hwmon2."""
        return self.board.run(f"ls /sys/bus/i2c/devices/{self.place(address)}/hwmon").strip()

    def driver_says(self, address):
        """(volts, amps) as the kernel's driver itself prints them."""
        text = self.board.run(
            f"cd /sys/bus/i2c/devices/{self.place(address)}/hwmon/hwmon* && cat in1_input curr1_input")
        return tuple(int(line) / 1000 for line in text.split())

    def spy(self, on):
        """Starts, or stops, the kernel's record of who says what on the bus."""
        self.board.run("cd /sys/kernel/tracing && echo 1 > events/smbus/enable && echo > trace" if on
                       else "echo 0 > /sys/kernel/tracing/events/smbus/enable")

    def talk(self):
        """What was said on the bus by others than our tools: (who, 'read' or 'write', address, register)."""
        text = self.board.run("cat /sys/kernel/tracing/trace")
        lines = re.findall(r"^\s*(.+)-\d+\s+\[.*smbus_(read|write): i2c-(\d+) a=([0-9a-f]+) f=\S+ c=([0-9a-f]+)", text, re.M)
        return [(who, act, int(address, 16), int(register, 16))
                for who, act, bus, address, register in lines if who not in OUR_TOOLS and int(bus) == self.bus]


def source_of(now, place, via=None):
    """The source at a place (with its number of the channel, if any)."""
    for source in now["sources"]:
        if re.search(rf"\b{re.escape(place)}(?![\w/])", source["id"]) and via in (None, source["via"]):
            return source
    raise LookupError(f"no source at {place}; there are {[source['id'] for source in now['sources']]}")


def channel_of(now, place, via=None):
    """The reading at a place."""
    wanted = source_of(now, place, via)["id"]
    for channel in now["channels"]:
        if channel["source"] == wanted:
            return channel
    raise LookupError(f"{wanted} has no reading")


def near(value, wanted, tolerance):
    """Whether a number is there and close enough."""
    return value is not None and abs(value - wanted) <= tolerance


class Tolerance:
    """Half a step of the chip, and where a driver stands between, its whole millivolts and
    milliamperes (a driver may cut off rather than round, hence a whole one)."""

    def __init__(self, chip, driver, times=1.0):
        self.volts = chip.volts_lsb / 2 + (1e-3 if driver else 0) + 1e-6
        self.amps = (chip.amps_step() / 2 + (1e-3 if driver else 0)) * times + 1e-6

    def watts(self, volts, amps):
        """What these two allow for the product."""
        return abs(volts) * self.amps + abs(amps) * self.volts + self.volts * self.amps


def reads(reading, volts, amps, tolerance):
    """(holds, text) for a supply or channel of the snapshot."""
    got = f"{reading['volts_v']} V, {reading['current_a']} A, {reading['power_w']} W"
    gaps = [f"{key}: {reading[key]}" for key in ("volts_gap", "current_gap", "power_gap") if reading.get(key)]
    holds = (near(reading["volts_v"], volts, tolerance.volts) and near(reading["current_a"], amps, tolerance.amps)
             and near(reading["power_w"], volts * amps, tolerance.watts(volts, amps)))
    return holds, got + "".join(f"; {gap}" for gap in gaps)


def follows(bench, name, chip, volts, amps, pick=None, via=None, place=None, tolerance=None, within=FOLLOW_S):
    """Checks that the snapshot comes to show this voltage, current and power."""
    place = place or bench.place(chip.address)
    pick = pick or (lambda now: channel_of(now, place, via))
    tolerance = tolerance or Tolerance(chip, via == "hwmon")
    expected = f"{volts} V, {amps} A, {volts * amps:.4f} W (to {tolerance.volts * 1e3:.2f} mV, {tolerance.amps * 1e3:.2f} mA)"
    return bench.tally.until(name, within, expected, lambda: reads(pick(bench.outlast.now()), volts, amps, tolerance))


def driver_shows(bench, chip, volts, amps):
    """Checks the board itself: the real driver prints what the emulated chip was set to."""
    got = bench.driver_says(chip.address)
    tolerance = Tolerance(chip, True)
    return bench.tally.check(f"board: the kernel's driver reads the {chip.name} as it was set",
                             near(got[0], volts, tolerance.volts) and near(got[1], amps, tolerance.amps), f"{volts} V, {amps} A", got)


def begin(bench, settings, what):
    """Starts outlast and checks that it answers."""
    bench.outlast.start(settings)
    up = bench.outlast.wait_up()
    bench.tally.check(f"{what}: it starts and answers over the forwarded port", up, "an answer within 30 s",
                      "one" if up else f"none; it wrote: {bench.outlast.log()[-600:]!r}")
    return up


def end(bench, what):
    """Stops outlast and checks that it went by itself."""
    running = bench.outlast.running()
    got = bench.outlast.stop() if running else "had ended before"
    bench.tally.check(f"{what}: it ends when asked", got == "ended", "ended", got)


def three(now):
    """The forecast's three points in seconds, or None."""
    remaining = now["forecast"]["remaining_s"]
    return remaining and [remaining[key] for key in ("p10", "p50", "p90")]


def record(bench, text, title):
    """Into the log, for people."""
    bench.tally.note(f"--- {title}\n{text}\n---")


# ---------------------------------------------------------------------------------------------


def through_a_driver(bench):
    """INA226 behind its driver: follows, charges, vanishes, comes back elsewhere."""
    tally, chip = bench.tally, chips.Ina226(ADDRESSES["ina226"], 0.010)
    place = bench.place(chip.address)
    chip.reset(bench.wire)
    bench.board.run(f"modprobe {chip.driver}; modprobe lm75")
    bench.add("ina226", chip.address)
    chip.set(bench.wire, 12.80, 0.500)
    driver_shows(bench, chip, 12.80, 0.500)
    record(bench, bench.board.try_run("cat > /tmp/check.toml <<'END'\n" + LONG_SIX + "END\noutlast check --settings /tmp/check.toml")[1],
           "outlast check, with an INA226 behind its driver")
    if not begin(bench, LONG_SIX, "driver"):
        return
    supply = lambda now: now["supply"]
    for volts, amps in ((12.80, 0.500), (11.92, 1.250), (13.20, 0.100)):
        chip.set(bench.wire, volts, amps)
        follows(bench, f"ina226 through its driver: supply follows to {volts} V {amps} A", chip, volts, amps, pick=supply, via="hwmon")
        follows(bench, f"ina226 through its driver: channel follows to {volts} V {amps} A", chip, volts, amps, via="hwmon")
    tally.until("ina226 through its driver: the supply names its source", FOLLOW_S, f"a source at {place}",
                lambda: ((source := bench.outlast.now()["supply"]["source"]) is not None and place in source, source))
    board = bench.outlast.now()["board"]
    tally.check("undervoltage is said to be not measurable on a board without a detector",
                board["undervoltage"] is None and board["undervoltage_gap"] == "not_measurable",
                "null, not_measurable", f"{board['undervoltage']}, {board['undervoltage_gap']}")
    chip.set(bench.wire, 13.60, -0.400)
    follows(bench, "ina226 through its driver: a charging current has its sign", chip, 13.60, -0.400, pick=supply, via="hwmon")
    tally.until("while charging the forecast says that the bank is not draining", 60, "remaining null, not_draining",
                lambda: ((seen := bench.outlast.now()["forecast"])["remaining_s"] is None and seen["remaining_gap"] == "not_draining",
                         f"{seen['remaining_s']}, {seen['remaining_gap']}"))
    chip.set(bench.wire, 12.80, 0.500)
    follows(bench, "ina226 through its driver: discharging again", chip, 12.80, 0.500, pick=supply, via="hwmon")
    there = tally.until("a forecast of three rising numbers that stands on the sensor", 180, "p10 <= p50 <= p90, measured",
                        lambda: ((got := three(now := bench.outlast.now())) is not None and 0 < got[0] <= got[1] <= got[2]
                                 and now["forecast"]["basis"] == "measured", (got, now["forecast"]["basis"], now["forecast"]["remaining_gap"])))
    if there:
        gap_and_healing(bench, chip, place)
    end(bench, "driver")


def gap_and_healing(bench, chip, place):
    """The driver is taken away and comes back under another number."""
    tally = bench.tally
    # Let the forecast settle, so that what widens afterwards widens for the gap.
    tally.throughout("the forecast stays while nothing changes", 15, "three rising numbers",
                     lambda: ((got := three(bench.outlast.now())) is not None and 0 < got[0] <= got[1] <= got[2], got))
    before = bench.outlast.now()
    old_id, old_number, width = source_of(before, place, "hwmon")["id"], bench.hwmon(chip.address), three(before)[2] - three(before)[0]
    bench.board.run(f"echo {place} > /sys/bus/i2c/drivers/{chip.driver}/unbind")
    tally.until("driver unbound: the supply shows a gap with its reason", FOLLOW_S, "current and power null, with a reason",
                lambda: ((supply := bench.outlast.now()["supply"])["current_a"] is None and supply["power_w"] is None
                         and supply["current_gap"] in ("gone", "no_answer"), supply))
    tally.until("driver unbound: the source is silent and says why", FOLLOW_S, "silent, with a gap",
                lambda: ((source := source_of(bench.outlast.now(), place, "hwmon"))["state"] == "silent" and source["gap"] is not None,
                         f"{source['state']}, {source['gap']}, {source['notes']}"))
    tally.throughout("driver unbound: the forecast goes on", 15, "three rising numbers",
                     lambda: ((got := three(now := bench.outlast.now())) is not None and 0 < got[0] <= got[1] <= got[2],
                              (got, now["forecast"]["remaining_gap"])))
    # The shown forecast is renewed about once a minute, so a wider one may take that long; a
    # hundredth more is more than counting down or another minute of a steady draw brings.
    tally.until("driver unbound: the range grows wider", 150, f"more than {width * 1.01:.0f} s between p10 and p90",
                lambda: ((got := three(bench.outlast.now())) is not None and got[2] - got[0] > width * 1.01,
                         got and f"{got[2] - got[0]:.0f} s"), every=2)
    now = bench.outlast.now()
    after = three(now)
    record(bench, f"before {three(before)}\nafter {after}\nalarms {now['alarms']}", "forecast over the gap")
    # A bystander takes the number that has become free.
    bench.add("lm75", ADDRESSES["lm75"])
    bench.board.run(f"echo {place} > /sys/bus/i2c/drivers/{chip.driver}/bind")
    chip.set(bench.wire, 12.40, 0.750)
    new_number = bench.hwmon(chip.address)
    tally.check("board: the driver came back under another number", new_number != old_number, f"not {old_number}", new_number)
    follows(bench, "driver bound again: the supply is back", chip, 12.40, 0.750, pick=lambda now: now["supply"], via="hwmon", within=NOTICE_S)
    now = bench.outlast.now()
    live = [one["id"] for one in now["sources"] if place in one["id"] and one["state"] == "live"]
    tally.check("driver bound again: the same source, under the same name", live == [old_id], f"one live source {old_id}", live)
    # Once more the hard way: the device itself goes.
    bench.remove(chip.address)
    tally.until("device removed: a gap again", FOLLOW_S, "silent", lambda: (
        (source := source_of(bench.outlast.now(), place, "hwmon"))["state"] == "silent", f"{source['state']}, {source['gap']}"))
    bench.add("ina226", chip.address)
    chip.set(bench.wire, 12.30, 0.600)
    follows(bench, "device there again: the supply is back", chip, 12.30, 0.600, pick=lambda now: now["supply"], via="hwmon", within=NOTICE_S)
    bench.remove(ADDRESSES["lm75"])


def wrong_shunt(bench):
    """A breakout with 0.1 ohm behind a driver that assumes its default of 10 milliohm."""
    tally, chip = bench.tally, chips.Ina226(ADDRESSES["ina226"], 0.100)
    place = bench.place(chip.address)
    chip.set(bench.wire, 12.80, 0.300)
    if begin(bench, LONG_SIX, "wrong shunt"):
        # Ten times too much: what the driver says is shown, with what it assumes.
        follows(bench, "wrong shunt: the driver's tenfold current is shown as it is", chip, 12.80, 3.000, via="hwmon",
                tolerance=Tolerance(chip, True, 10))
        tally.until("wrong shunt: what the driver assumes is shown", FOLLOW_S, "0.01 ohm", lambda: (
            near((source := source_of(bench.outlast.now(), place))["shunt_assumed_ohm"], 0.010, 1e-6),
            f"{source['shunt_assumed_ohm']}, {source['notes']}"))
        end(bench, "wrong shunt")
    told = LONG_SIX + f'\n[[sensor]]\nmatches = "{place}"\nshunt_ohm = 0.1\n'
    if begin(bench, told, "told shunt"):
        follows(bench, "told shunt: the current is put right", chip, 12.80, 0.300, via="hwmon")
        follows(bench, "told shunt: so is the supply", chip, 12.80, 0.300, pick=lambda now: now["supply"], via="hwmon")
        source = source_of(bench.outlast.now(), place)
        tally.check("told shunt: both are shown", near(source["shunt_assumed_ohm"], 0.010, 1e-6) and near(source["shunt_told_ohm"], 0.1, 1e-6)
                    and near(source["shunt_scale"], 0.1, 1e-6), "0.01 assumed, 0.1 told, scale 0.1",
                    f"{source['shunt_assumed_ohm']}, {source['shunt_told_ohm']}, {source['shunt_scale']}")
        tally.check("told shunt: the driver itself is left alone",
                    bench.board.run(f"cat /sys/bus/i2c/devices/{place}/hwmon/hwmon*/shunt_resistor").strip() == "10000", "10000",
                    "another value")
        end(bench, "told shunt")
    bench.remove(chip.address)


def other_drivers(bench):
    """INA219, INA238 and INA3221 behind their drivers, plugged in while outlast runs."""
    tally = bench.tally
    if not begin(bench, LONG_SIX, "hot plug"):
        return
    tally.until("no sensor: the supply has a gap and the draw is modelled", FOLLOW_S, "current null, modelled", lambda: (
        (now := bench.outlast.now())["supply"]["current_a"] is None and now["draw"]["basis"] == "modelled" and now["draw"]["now_w"],
        (now["supply"], now["draw"])))
    for chip in (chips.Ina219(ADDRESSES["ina219"], 0.010), chips.Ina238(ADDRESSES["ina238"], 0.010)):
        place = bench.place(chip.address)
        chip.reset(bench.wire)
        bench.board.run(f"modprobe {chip.driver}")
        bench.add(chip.name, chip.address)
        chip.set(bench.wire, 12.80, 0.500)
        driver_shows(bench, chip, 12.80, 0.500)
        follows(bench, f"{chip.name} through its driver: found while running", chip, 12.80, 0.500, via="hwmon", within=NOTICE_S)
        for volts, amps in ((11.60, 1.400), (13.40, -0.250), (12.20, 0.040)):
            chip.set(bench.wire, volts, amps)
            follows(bench, f"{chip.name} through its driver: follows to {volts} V {amps} A", chip, volts, amps, via="hwmon")
        bench.remove(chip.address)
        tally.until(f"{chip.name} through its driver: unplugged is a gap", FOLLOW_S, "silent", lambda place=place: (
            (source := source_of(bench.outlast.now(), place, "hwmon"))["state"] == "silent", f"{source['state']}, {source['gap']}"))
    three_channels(bench)
    end(bench, "hot plug")
    # Where the driver does not show its shunt, a scale corrects it.
    chip = chips.Ina238(ADDRESSES["ina238"], 0.100)
    bench.add(chip.name, chip.address)
    chip.set(bench.wire, 12.80, 0.300)
    if begin(bench, LONG_SIX + f'\n[[sensor]]\nmatches = "{bench.place(chip.address)}"\nscale = 0.1\n', "scale"):
        follows(bench, "ina238 with another shunt: a scale puts the current right", chip, 12.80, 0.300, via="hwmon")
        end(bench, "scale")
    bench.remove(chip.address)


def three_channels(bench):
    """The three channels of an INA3221 are three sources; one can be switched off."""
    tally, chip = bench.tally, chips.Ina3221(ADDRESSES["ina3221"], 0.010)
    place = bench.place(chip.address)
    chip.reset(bench.wire)
    bench.board.run(f"modprobe {chip.driver}")
    bench.add(chip.name, chip.address)
    for round_, values in enumerate((((12.80, 0.500), (5.12, 0.800), (13.60, -0.300)), ((12.00, 1.500), (5.04, 0.100), (3.20, 0.020)))):
        chip.set(bench.wire, *values)
        if round_ == 0:
            driver_shows(bench, chip, *values[0])
        for k, (volts, amps) in enumerate(values, 1):
            follows(bench, f"ina3221 through its driver, channel {k}: follows to {volts} V {amps} A", chip, volts, amps, via="hwmon",
                    place=f"{place}/{k}", within=FOLLOW_S if round_ else NOTICE_S)
    bench.board.run(f"cd /sys/bus/i2c/devices/{place}/hwmon/hwmon* && echo 0 > in2_enable")
    tally.until("ina3221 through its driver: a channel switched off says so", FOLLOW_S, "current null, switched_off", lambda: (
        (got := channel_of(bench.outlast.now(), f"{place}/2"))["current_a"] is None and got["current_gap"] == "switched_off", got))
    follows(bench, "ina3221 through its driver: the others go on", chip, 12.00, 1.500, via="hwmon", place=f"{place}/1")
    bench.remove(chip.address)


# Power-on content of the first setting register, which tells of a reset: data sheets.
TELL = {"ina219": 0x399F, "ina226": 0x4127, "ina260": 0x6127, "ina3221": 0x7127}


def without_drivers(bench):
    """Direct access: chips that can say what they are, one that is named in the settings, and
    two neighbours that must not be written to."""
    tally, wire = bench.tally, bench.wire
    bench.board.run("for driver in ina2xx ina238 ina3221; do [ ! -d /sys/module/$driver ] || rmmod $driver || exit 1; done")
    named = chips.Ina219(ADDRESSES["direct219"], 0.100)
    self_naming = [chips.Ina226(ADDRESSES["direct226"], 0.010), chips.Ina260(ADDRESSES["direct260"])]
    triple = chips.Ina3221(ADDRESSES["ina3221"], 0.050)
    for chip in (named, *self_naming, triple):
        chip.reset(wire, identity=True)
    # One that looks like a fresh INA219 but is not named, and one that is something else altogether.
    untold, stranger = ADDRESSES["untold219"], ADDRESSES["stranger"]
    wire.put(untold, chips.Ina219.power_on)
    noise = random.Random(8073)
    wire.put(stranger, {register: noise.randrange(0x10000) for register in range(256)})
    before = {address: wire.everything(address) for address in (untold, stranger)}
    settings = LONG_SIX + "".join(
        f'\n[[sensor]]\nmatches = "{bench.place(address)}"\n{line}\n' for address, line in (
            (named.address, 'chip = "ina219"\nshunt_ohm = 0.1'),
            (self_naming[0].address, "shunt_ohm = 0.01"), (triple.address, "shunt_ohm = 0.05")))
    for chip in (named, *self_naming):
        chip.set(wire, 12.80, 0.500)
    triple.set(wire, (12.80, 0.500), (5.12, 0.400), (13.60, -0.200))
    bench.spy(True)
    if not begin(bench, settings, "direct"):
        return
    for chip in (named, *self_naming):
        follows(bench, f"{chip.name} without a driver: read directly", chip, 12.80, 0.500, via="i2c", within=NOTICE_S)
        for volts, amps in ((11.60, 1.400), (13.40, -0.250)):
            chip.set(wire, volts, amps)
            follows(bench, f"{chip.name} without a driver: follows to {volts} V {amps} A", chip, volts, amps, via="i2c")
    for values in (((12.80, 0.500), (5.12, 0.400), (13.60, -0.200)), ((12.00, 1.500), (5.04, 0.100), (3.20, 0.020))):
        triple.set(wire, *values)
        for k, (volts, amps) in enumerate(values, 1):
            follows(bench, f"ina3221 without a driver, channel {k}: follows to {volts} V {amps} A", triple, volts, amps, via="i2c",
                    place=f"{bench.place(triple.address)}/{k}", within=NOTICE_S)
    reset_behind_our_back(bench, [named, *self_naming, triple])
    record(bench, bench.board.try_run("outlast check --settings /tmp/settings.toml")[1], "outlast check, four chips read directly")
    talk = bench.talk()
    bench.spy(False)
    known = {chip.address for chip in (named, *self_naming, triple)}
    writes = sorted({address for _, act, address, _ in talk if act == "write"} - known)
    tally.check("nothing is written to an address that is not identified", not writes and talk, "no write but to known chips",
                f"writes to {[hex(address) for address in writes]}, {len(talk)} transfers seen in all")
    for address, name in ((untold, "a chip that looks like a fresh INA219 but is not named"), (stranger, "a chip of another kind")):
        after = wire.everything(address)
        changed = [hex(register) for register in range(256) if after[register] != before[address][register]]
        tally.check(f"{name} keeps every register", not changed, "no change", f"changed: {changed}")
        left = [source["id"] for source in bench.outlast.now()["sources"] if bench.place(address) in source["id"] and source["state"] == "live"]
        tally.check(f"{name} is not shown as a live source", not left, "none", left)
    driver_takes_over(bench, self_naming[0])
    end(bench, "direct, driver bound")
    # From here on the others keep to themselves who they are.
    for chip in (named, *self_naming[1:], triple):
        chip.reset(wire)
    driver_first(bench, self_naming[0])
    self_naming[0].reset(wire)


def reset_behind_our_back(bench, all_chips):
    """Power-on content in the setting register: the chip had lost its supply for a moment."""
    for chip in all_chips:
        (ours,) = bench.wire.get(chip.address, [0])
        fresh = TELL[chip.name]
        bench.tally.check(f"{chip.name} without a driver: was set up for averaging", ours != fresh, f"not {fresh:#06x}", f"{ours:#06x}")
        bench.wire.put(chip.address, {0: fresh})
        bench.tally.until(f"{chip.name} without a driver: reset behind our back, it is set up again", FOLLOW_S, f"{ours:#06x}",
                          lambda chip=chip, ours=ours: ((got := bench.wire.get(chip.address, [0])[0]) == ours, f"{got:#06x}"))
    chip = all_chips[0]
    chip.set(bench.wire, 12.10, 0.330)
    follows(bench, f"{chip.name} without a driver: reads again after the reset", chip, 12.10, 0.330, via="i2c", within=NOTICE_S)


def driver_takes_over(bench, chip):
    """From the moment a driver is bound, nobody else may talk to its chip."""
    tally, place = bench.tally, bench.place(chip.address)
    bench.board.run(f"modprobe {chip.driver}")
    bench.add(chip.name, chip.address)
    chip.set(bench.wire, 12.50, 0.450)
    bench.spy(True)
    # The driver's own default shunt is that of this chip, and so is the one in the settings.
    follows(bench, "a driver takes the chip over: read through the driver from then on", chip, 12.50, 0.450, via="hwmon", within=NOTICE_S)
    configured = bench.wire.get(chip.address, [0, 5])
    tally.throughout("a driver takes the chip over: its settings are left alone", 6, "the driver's registers unchanged",
                     lambda: ((got := bench.wire.get(chip.address, [0, 5])) == configured, f"{got} for {configured}"))
    now = bench.outlast.now()
    live = [(source["id"], source["via"]) for source in now["sources"] if place in source["id"] and source["state"] == "live"]
    tally.check("a driver takes the chip over: it is counted once", len(live) == 1 and live[0][1] == "hwmon", "one live source, hwmon", live)
    nobody_talks_past_the_driver(bench, chip, "a driver takes the chip over")


def driver_first(bench, chip):
    """A chip that can say what it is and has a driver: read through that; without it, directly."""
    tally, place = bench.tally, bench.place(chip.address)
    configured = bench.wire.get(chip.address, [0, 5])
    # It says what it is, but there is a driver: nobody needs to ask.
    bench.spy(True)
    if begin(bench, LONG_SIX + f'\n[[sensor]]\nmatches = "{place}"\nshunt_ohm = 0.01\n', "driver there first"):
        follows(bench, "driver there first: read through the driver", chip, 12.50, 0.450, via="hwmon", within=NOTICE_S)
        nobody_talks_past_the_driver(bench, chip, "driver there first", 8)
        # This chip can say what it is: without its driver it is read directly, as the same bank.
        bench.board.run(f"echo {place} > /sys/bus/i2c/drivers/{chip.driver}/unbind")
        chip.set(bench.wire, 12.20, 0.550)
        follows(bench, "driver leaves a chip that can say what it is: read directly", chip, 12.20, 0.550, via="i2c", within=NOTICE_S)
        follows(bench, "driver leaves a chip that can say what it is: the supply goes on", chip, 12.20, 0.550,
                pick=lambda now: now["supply"], via="i2c", within=NOTICE_S)
        bench.board.run(f"echo {place} > /sys/bus/i2c/drivers/{chip.driver}/bind")
        chip.set(bench.wire, 12.10, 0.650)
        follows(bench, "driver comes back: the supply goes on through it", chip, 12.10, 0.650,
                pick=lambda now: now["supply"], via="hwmon", within=NOTICE_S)
        tally.check("driver comes back: its settings stand", bench.wire.get(chip.address, [0, 5]) == configured, configured,
                    bench.wire.get(chip.address, [0, 5]))
        end(bench, "driver there first")
    bench.remove(chip.address)


def nobody_talks_past_the_driver(bench, chip, what, wait=0):
    """Checks the kernel's record of the bus. The driver itself never asks a chip what it is, and
    once bound it writes nothing for a reader of voltage, current and power."""
    time.sleep(wait)
    talk = [one for one in bench.talk() if one[2] == chip.address]
    bench.spy(False)
    past = [one for one in talk if one[1] == "write" or one[3] in chip.identity]
    bench.tally.check(f"{what}: nobody talks past the driver", talk and not past, "the driver's own reads and nothing else",
                      f"{past[:5]} in {len(talk)} transfers")


def fuel_gauge(bench):
    """The kernel's make-believe battery (test_power) in the place of a fuel gauge."""
    tally = bench.tally
    knob = lambda **values: bench.board.run("cd /sys/module/test_power/parameters\n" + "\n".join(f"echo {v} > battery_{k}" for k, v in values.items()))
    bench.board.run("modprobe test_power")
    knob(status="discharging", capacity=62, voltage=3700000, current=-850000)
    if not begin(bench, LONG_SIX, "gauge"):
        return
    def gauge(now):
        found = [one for one in now["gauges"] if one["source"] and "test_battery" in one["source"]]
        if len(found) != 1:
            raise LookupError(f"gauges: {[one['source'] for one in now['gauges']]}")
        return found[0]
    tally.until("fuel gauge: level, voltage, current and direction are read", NOTICE_S, "0.62, 3.7 V, 0.85 A out of the bank, draining", lambda: (
        near((got := gauge(bench.outlast.now()))["level"], 0.62, 1e-6) and near(got["volts_v"], 3.7, 1e-3)
        and near(got["current_a"], 0.85, 1e-3) and got["flow"] == "draining", got))
    tally.check("fuel gauge: its doubles among the hardware monitors are not taken for power sensors",
                not bench.outlast.now()["channels"], "no channel", bench.outlast.now()["channels"])
    knob(capacity=41, voltage=3600000)
    tally.until("fuel gauge: follows", FOLLOW_S, "0.41, 3.6 V", lambda: (
        near((got := gauge(bench.outlast.now()))["level"], 0.41, 1e-6) and near(got["volts_v"], 3.6, 1e-3), got))
    knob(status="charging", current=900000)
    tally.until("fuel gauge: charging is seen", FOLLOW_S, "charging, current into the bank", lambda: (
        (got := gauge(bench.outlast.now()))["flow"] == "charging" and near(got["current_a"], -0.9, 1e-3), got))
    tally.until("fuel gauge: while charging the forecast says 'not draining'", 60, "remaining null, not_draining", lambda: (
        (seen := bench.outlast.now()["forecast"])["remaining_s"] is None and seen["remaining_gap"] == "not_draining",
        f"{seen['remaining_s']}, {seen['remaining_gap']}"))
    knob(status="discharging", current=-850000)
    tally.until("fuel gauge: drains again", FOLLOW_S, "draining", lambda: (
        (got := gauge(bench.outlast.now()))["flow"] == "draining", got))
    record(bench, bench.board.try_run("outlast check")[1], "outlast check, fuel gauge only")
    end(bench, "gauge")
    bench.board.run("rmmod test_power")


TEN_YEARS_S = 3653 * 86_400


def clock_steps(bench):
    """What the record of the first outing says of steps of the clock."""
    events = json.loads(bench.outlast.fetch("/api/v1/outings/1"))["events"]
    return [event["text"] for event in events if event["kind"] == "clock_step"]


def clock_jumps(bench):
    """The wall clock is set ten years forward, and twenty back: no duration follows it."""
    tally, chip = bench.tally, chips.Ina226(ADDRESSES["ina226"], 0.010)
    chip.reset(bench.wire)
    bench.board.run(f"modprobe {chip.driver}")
    bench.add("ina226", chip.address)
    chip.set(bench.wire, 12.80, 0.500)
    if not begin(bench, LONG_SIX, "clock"):
        return
    tally.until("clock: a forecast before the jumps", 120, "three numbers",
                lambda: ((got := three(bench.outlast.now())) is not None, got))
    for title, by_s in (("ten years forward", TEN_YEARS_S), ("twenty years back", -2 * TEN_YEARS_S)):
        before, began = bench.outlast.now(), time.monotonic()
        set_to = int(bench.board.run(f"t=$(($(date +%s) + {by_s})); date -u -s @$t > /dev/null; date +%s"))
        time.sleep(8)
        after, passed = bench.outlast.now(), time.monotonic() - began
        lasted = after["outing"]["lasted_s"] - before["outing"]["lasted_s"]
        tally.check(f"clock {title}: the outing lasts on by what really passed", near(lasted, passed, 4), f"{passed:.0f} s", f"{lasted} s")
        wh = after["bank"]["delivered_wh"] - before["bank"]["delivered_wh"]
        tally.check(f"clock {title}: so does the energy", near(wh, 6.4 * passed / 3600, 6.4 * 4 / 3600), f"{6.4 * passed / 3600:.4f} Wh", f"{wh:.4f} Wh")
        tally.check(f"clock {title}: the forecast stays", three(after) is not None and near(three(after)[1] / three(before)[1], 1, 0.1),
                    three(before), three(after))
        tally.check(f"clock {title}: board, set to {set_to}", near(int(bench.board.run("date +%s")), set_to, 30), set_to, "another time")
    tally.until("clock: the jumps are in the record", 90, "one forward, one back, in one outing", lambda: (
        len(said := clock_steps(bench)) >= 2 and "forward" in said[0] and "back" in said[-1], said), every=3)
    end(bench, "clock")
    bench.remove(chip.address)


ALL = [through_a_driver, wrong_shunt, other_drivers, without_drivers, fuel_gauge, clock_jumps]
