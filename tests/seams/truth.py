"""An outing of known composition: what each part of a station draws, on a fine grid.

    truth = Truth(2 * HOUR_S)                              # idle and a little load, behind a USB bank
    truth.busy(600, 1200, 0.8)                             # from, to, share of all cores: counts as `load`
    truth.adds("display", 0, HOUR_S, 0.5)                  # watts
    truth.slots(FT8, 0, HOUR_S, every_other, 4.0, decodes=0.7)   # `transmit`, and `decode` where nothing is sent
    it.play(truth, 2 * HOUR_S)
    truth.wh(), truth.wh("transmit"), truth.wh("load", 600, 1200)

Times are seconds since it began. Nothing is left to chance: noise and wander come from a seed."""

import random
from array import array
from dataclasses import dataclass

GRID_HZ = 20


@dataclass(frozen=True)
class Slots:
    """A timed mode: its slot and how long the key is down in it, s. It begins half a second into the slot."""

    slot_s: float
    sends_s: float


# Sources: 'The FT4 and FT8 Communication Protocols', QEX Jul/Aug 2020 (79 symbols of 0.160 s, 105 of 0.048 s);
# protocol chapter of the reference user guide (JT65: 126 symbols of 4096/11025 s).
FT8, FT4 = Slots(15.0, 12.64), Slots(7.5, 5.04)
JT65 = Slots(60.0, 46.8)
KEY_DELAY_S = 0.5
# The decoder begins when the last symbol has come, at the latest shortly before the slot ends.
DECODE_DELAY_S = 0.6


def every_other(number):
    """Two stations take turns."""
    return number % 2 == 0


def never(_):
    """Only listens."""
    return False


class Truth:
    """What flows, and what for."""

    # A supply: open volts and the ohms of cable and converter. Common practice, no source.
    def __init__(self, for_s, idle_w=2.7, load_w=3.2, busy=0.05, open_v=5.2, ohm=0.04, noise_w=0.012, seed=1):
        self.for_s = for_s
        self._grid = int(for_s * GRID_HZ) + 10 * GRID_HZ
        self.idle_w, self.load_w, self._open_v, self._ohm = idle_w, load_w, open_v, ohm
        self._noise_w, self._chance = noise_w, random.Random(seed)
        self._busy = array("d", [busy]) * self._grid
        self._decodes = array("d", [0.0]) * self._grid
        self._adds = {}
        self._sums = None

    def _span(self, from_s, to_s):
        return range(max(0, round(from_s * GRID_HZ)), min(self._grid, round(to_s * GRID_HZ)))

    # ---- what it is made of ---------------------------------------------------------------------

    def busy(self, from_s, to_s, share):
        """So busy are the cores; it draws `load_w` times the share."""
        for k in self._span(from_s, to_s):
            self._busy[k] = share

    def adds(self, part, from_s, to_s, watts):
        """Something else on the same bank draws so much."""
        line = self._adds.setdefault(part, array("d", [0.0]) * self._grid)
        for k in self._span(from_s, to_s):
            line[k] += watts

    def slots(self, mode, from_s, to_s, sends, watts, decodes=0.0, decode_s=2.0):
        """A timed mode whose slots begin at `from_s`: transmissions of so many watts in the slots for which
        `sends(number)` says yes; in the others the decoder keeps a share of the cores busy. When each began that
        was sent."""
        sent, number = [], 0
        while (begins_s := from_s + number * mode.slot_s) + mode.slot_s <= to_s:
            if sends(number):
                self.adds("transmit", begins_s + KEY_DELAY_S, begins_s + KEY_DELAY_S + mode.sends_s, watts)
                sent.append(begins_s)
            elif decodes:
                ready_s = begins_s + min(mode.slot_s - 0.2, KEY_DELAY_S + mode.sends_s + DECODE_DELAY_S)
                for k in self._span(ready_s, ready_s + decode_s * self._chance.uniform(0.9, 1.1)):
                    self._decodes[k] = decodes
            number += 1
        return sent

    # ---- what comes of it -----------------------------------------------------------------------

    def _sum(self):
        """Sums over the grid: of each part, the whole, the current, the volts and the busy share."""
        if self._sums is not None:
            return self._sums
        wander, walk_w = array("d"), 0.0
        while len(wander) < self._grid:
            walk_w = 0.98 * walk_w + self._chance.gauss(0.0, self._noise_w / 4)
            wander.extend([walk_w] * GRID_HZ)
        noise = array("d", (wander[k] + self._chance.gauss(0.0, self._noise_w) for k in range(self._grid)))
        decode = array("d", (min(1.0, busy + more) - busy for busy, more in zip(self._busy, self._decodes)))
        parts = {"idle": array("d", (self.idle_w + one for one in noise)),
                 "load": array("d", (self.load_w * share for share in self._busy)),
                 "decode": array("d", (self.load_w * share for share in decode)), **self._adds}
        watts = array("d", (max(0.05, sum(column)) for column in zip(*parts.values())))
        amps = array("d", map(self._amps, watts))
        lines = {**parts, "whole": watts, "amps": amps, "volts": array("d", (self._open_v - self._ohm * a for a in amps)),
                 "busy": array("d", map(sum, zip(self._busy, decode)))}
        self._lines, self._sums = lines, {name: running(line) for name, line in lines.items() if name not in ("amps", "volts")}
        return self._sums

    def _amps(self, watts):
        """The current at which volts times amperes are so many watts."""
        return (self._open_v - (self._open_v**2 - 4 * self._ohm * watts) ** 0.5) / (2 * self._ohm)

    def _total(self, name, from_s, to_s):
        return (between(self._sum()[name], to_s * GRID_HZ) - between(self._sum()[name], from_s * GRID_HZ)) / GRID_HZ

    def mean(self, name, from_s, to_s):
        """Mean of a part in W, or of the `busy` share."""
        return self._total(name, from_s, to_s) / (to_s - from_s)

    def wh(self, part="whole", from_s=0.0, to_s=None):
        """The energy of a part or of all, by default from the beginning to the end."""
        return self._total(part, from_s, self.for_s if to_s is None else to_s) / 3600.0

    def __call__(self, at_s):
        """(volts, amps) of a moment, as any plan says it."""
        self._sum()
        at = max(0, min(self._grid - 1, int(at_s * GRID_HZ)))
        return self._lines["volts"][at], self._lines["amps"][at]


def running(line):
    """Sums of all before each place."""
    sums, so_far = array("d", [0.0]), 0.0
    for one in line:
        so_far += one
        sums.append(so_far)
    return sums


def between(sums, place):
    """A sum at a place between two."""
    place = max(0.0, min(len(sums) - 1.000001, place))
    whole = int(place)
    return sums[whole] + (sums[whole + 1] - sums[whole]) * (place - whole)
