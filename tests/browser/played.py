#!/usr/bin/env python3
"""A station whose hours pass in seconds while a page of it is open: the bench of tests/seams, told by lines of JSON
what to do next. It answers each with one line. While it is told nothing it lives in real time, a sweep a second.

    {"do": "boot", "off_s": 300}               the power comes back; a time server is heard at once
    {"do": "play", "for_s": 3600}              an hour passes
    {"do": "play", "for_s": 3600, "until": "counting"}   or less: until the board counts down to its end
    {"do": "kill"}, {"do": "start"}            the program alone, in the same boot
    {"do": "cut"}                              the power goes
    {"do": "say", "path": "/api/v1/…", "body": {}}       somebody at the board's own terminal says it
    {"do": "pin"}                              reads the pairing code in the terminal

`phone_clock.c` is laid beside it: the browser that it is preloaded to shares the station's time of day."""

import contextlib
import json
import mmap
import re
import select
import struct
import subprocess
import sys
import tempfile
import time
from pathlib import Path

sys.dont_write_bytecode = True
HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent / "seams"))

import bench  # noqa: E402
import plans  # noqa: E402
import registry  # noqa: E402
import scenarios  # noqa: E402
import station  # noqa: E402

# Four LiFePO4 cells on the flat part of their curve, behind no converter. Common practice, no source.
CELLS_V = 13.1


def long_six(tools):
    """An outing of many hours on a pack of which nothing is known but its label."""
    return Played(tools, station.LONG_SIX, plans.steady(CELLS_V, 4.0 / CELLS_V))


def blue_ten(tools):
    """A short one on a bank that was run down twice, with another in the bag, on a board that may be switched off."""
    registry.ALL[registry.FIRST].play(tools)
    return Played(tools, station.BLUE_TEN + station.SPARE_LONG_SIX, plans.usb(scenarios.HARD_W), station.Bank(scenarios.GOOD_WH),
                  power_off=True, state=tools.taught)


class Played(station.Station):
    """The station, and the wall clock of the phone beside it."""

    def __init__(self, tools, settings, plan, bank=None, **more):
        super().__init__(tools, settings, **more)
        self.plan, self.bank = plan, bank
        path = self.folder / "phone-clock"
        path.write_bytes(bytes(mmap.PAGESIZE))
        with open(path, "r+b") as file:
            self._phone = mmap.mmap(file.fileno(), mmap.PAGESIZE)
        self.phone_clock = path

    def tell_phone(self):
        """The phone's time of day is the true one."""
        struct.pack_into("=q", self._phone, 0, round(self.wall_s * 1e9) - time.time_ns())

    def _sweep(self, *told):
        super()._sweep(*told)
        self.tell_phone()

    def do(self, do, **told):
        """What a line asks for, and what is to be known afterwards."""
        said = getattr(self, f"_{do}")(**told) or {}
        self.tell_phone()
        return said | {"wall_s": self.wall_s, "port": self.port if self.runs else None, "phone_clock": str(self.phone_clock)}

    def _boot(self, off_s=0.0):
        self.boot(off_s=off_s, synchronised_after_s=0, first=self.plan(0))

    def _play(self, for_s, until=None):
        if not self.runs:
            self.clocks.move_to(self.clocks.boot_s + for_s)
            self.wall_s += for_s
            return
        come = None
        if until:
            come = lambda now: now["power_off"]["state"] == until  # noqa: E731
        self.play(self.plan, for_s, bank=self.bank, watch=come, every_s=5)

    def until_next_s(self):
        """Until the next sweep, which wanders within its second, s."""
        return max(0.0, self.clocks.wanted_s + station.LATE_S - self.clocks.boot_s) if self.runs else 1.0

    def _kill(self):
        self.cut_power()

    _cut = _kill

    def _start(self):
        self.start()

    def _say(self, path, body):
        return {"status": self.post(path, body)}

    def _pin(self):
        return json.loads(self.outlast("pin", "--json")[1])

    def start(self):
        said_before = len(self.log()) if (self.folder / "log").exists() else 0
        super().start()
        end = time.monotonic() + station.PATIENCE_S
        while not (said := re.search(r"http://127\.0\.0\.1:(\d+)/", self.log()[said_before:])):
            if time.monotonic() > end:
                raise station.Trouble(f"outlast does not say where it listens; it said:\n{self.log()[said_before:]}")
            time.sleep(0.01)
        self.port = int(said[1])


def lines(it):
    """What is asked, line by line; meanwhile the station lives a second at a time."""
    due = time.monotonic() + 1.0
    while True:
        ready, _, _ = select.select([sys.stdin], [], [], max(0.0, due - time.monotonic()))
        if ready:
            line = sys.stdin.readline()
            if not line:
                return
            yield json.loads(line)
            due = time.monotonic() + 1.0
        else:
            it.do("play", for_s=it.until_next_s())
            due = max(due + 1.0, time.monotonic())


def main():
    binary, outing = Path(sys.argv[1]).resolve(), {"long_six": long_six, "blue_ten": blue_ten}[sys.argv[2]]
    with tempfile.TemporaryDirectory(prefix="played-") as scratch, open(Path(scratch) / "log", "w") as log:
        subprocess.run(["cc", "-O2", "-Wall", "-Wextra", "-Werror", "-shared", "-fPIC", "-o", f"{scratch}/phone.so", HERE / "phone_clock.c"], check=True)
        tools = bench.Bench(binary, bench.compile_clocks(scratch), scratch, Path(scratch) / "taught", log)
        with contextlib.redirect_stdout(sys.stderr), outing(tools) as it:
            for asked in lines(it):
                try:
                    said = it.do(**asked) | {"phone_library": f"{scratch}/phone.so"}
                except station.Trouble as trouble:
                    said = {"trouble": str(trouble)}
                print(json.dumps(said), file=sys.__stdout__, flush=True)


if __name__ == "__main__":
    main()
