#!/usr/bin/env python3
"""A station whose hours pass in seconds while a page of it is open: the bench of tests/seams, told by lines of JSON
what to do next. It answers each with one line. While it is told nothing it lives in real time, a sweep a second.

    {"do": "boot", "off_s": 300}      the power comes back; a time server is heard at once
    {"do": "play", "for_s": 3600}     an hour passes
    {"do": "kill"}, {"do": "start"}   the program alone, in the same boot
    {"do": "cut"}                     the power goes

`phone_clock.c` is laid beside it: the browser that it is preloaded to shares the station's time of day."""

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
import station  # noqa: E402

# Four LiFePO4 cells on the flat part of their curve, behind no converter. Common practice, no source.
CELLS_V = 13.1


class Played(station.Station):
    """The station, and the wall clock of the phone beside it."""

    def __init__(self, tools, settings, watts, **more):
        super().__init__(tools, settings, **more)
        self.plan = plans.steady(CELLS_V, watts / CELLS_V)
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

    def do(self, do, for_s=0.0, off_s=0.0):
        """What a line asks for."""
        if do == "boot":
            self.boot(off_s=off_s, synchronised_after_s=0, first=self.plan(0))
        elif do == "play":
            if self.runs:
                self.play(self.plan, for_s)
            else:
                self.clocks.move_to(self.clocks.boot_s + for_s)
                self.wall_s += for_s
        elif do in ("kill", "cut"):
            self.cut_power()
        elif do == "start":
            self.start()
        else:
            raise station.Trouble(f"nobody knows what '{do}' is")
        self.tell_phone()
        return {"wall_s": self.wall_s, "port": self.port if self.runs else None, "phone_clock": str(self.phone_clock)}

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
        elif it.runs:
            it.play(it.plan, 1)
            due = max(due + 1.0, time.monotonic())
        else:
            it.do("play", 1.0)
            due += 1.0


def main():
    binary, watts = Path(sys.argv[1]).resolve(), float(sys.argv[2])
    with tempfile.TemporaryDirectory(prefix="played-") as scratch, open(Path(scratch) / "log", "w") as log:
        subprocess.run(["cc", "-O2", "-Wall", "-Wextra", "-Werror", "-shared", "-fPIC", "-o", f"{scratch}/phone.so", HERE / "phone_clock.c"], check=True)
        tools = bench.Bench(binary, bench.compile_clocks(scratch), scratch, None, log)
        with Played(tools, station.LONG_SIX, watts) as it:
            for asked in lines(it):
                try:
                    said = it.do(**asked) | {"phone_library": f"{scratch}/phone.so"}
                except station.Trouble as trouble:
                    said = {"trouble": str(trouble)}
                print(json.dumps(said), flush=True)


if __name__ == "__main__":
    main()
