"""One station on the bench: a made-up board, its clocks, the program on it, and what truly flows.

The test writes what the sensor reads at the moment that the program sleeps for, moves the clock there and waits
until every thread of the program rests again. So hours pass in seconds, and how busy this machine is changes
nothing but the time it takes. Files, threads, sockets, record and commands are real."""

import contextlib
import ctypes
import http.client
import json
import mmap
import re
import shutil
import signal
import socket
import subprocess
import tempfile
import time
import urllib.parse
from pathlib import Path

import board as boards
import plans
from truth import Truth

# Seconds of boot time when the service is started. Common practice, no source.
STARTED_S = 22.0
# A sweep comes so long after the moment that was slept for, s.
LATE_S = 0.002
# What flows is summed in steps of this, s.
FINE_S = 0.1
# So long the program may take to come to rest, in real time.
PATIENCE_S = 30
# 2026-05-16 07:30 UTC, one of our made-up mornings.
MORNING_S = 1_778_916_600.0

BLUE_TEN = """
[bank]
name = "Blue ten"
cells = "li-ion"
series = 1
label_mah = 10000
label_v = 3.7
measured_at = "output"
"""
LONG_SIX = """
[bank]
name = "Long six"
cells = "lifepo4"
series = 4
label_mah = 6000
label_v = 12.8
measured_at = "cells"
"""
SPARE_LONG_SIX = LONG_SIX.replace("[bank]", "[[spare_bank]]")


def die_with_parent():
    """The program never outlives the test."""
    pr_set_pdeathsig = 1
    ctypes.CDLL(None).prctl(pr_set_pdeathsig, signal.SIGKILL)


class Trouble(Exception):
    """The bench itself, or the program, did not do what it must for a test to go on."""


class Page(ctypes.Structure):
    """What `clocks.c` shares."""

    _fields_ = [("boot_ns", ctypes.c_int64), ("wall_at_boot_ns", ctypes.c_int64), ("wanted_ns", ctypes.c_int64), ("turn", ctypes.c_uint32)]


class Clocks:
    """Boot time and wall time, moved by hand."""

    def __init__(self, path, library):
        self.path = path
        path.write_bytes(bytes(mmap.PAGESIZE))
        with open(path, "r+b") as file:
            self._shared = mmap.mmap(file.fileno(), mmap.PAGESIZE)
        self._page = Page.from_buffer(self._shared)
        self._calls = ctypes.CDLL(str(library))
        self._calls.seams_move.argtypes = [ctypes.POINTER(Page), ctypes.c_int64]
        self._calls.seams_settle.argtypes = [ctypes.POINTER(Page), ctypes.c_int, ctypes.c_int]

    def switch_on(self, boot_s, wall_s):
        """A new boot that is so old, at this wall time."""
        self._page.wanted_ns = 0
        self._page.boot_ns = round(boot_s * 1e9)
        self.set_wall(wall_s)

    @property
    def boot_s(self):
        """Seconds since boot."""
        return self._page.boot_ns / 1e9

    @property
    def wall_s(self):
        """What the system's own wall clock says, seconds since 1970."""
        return (self._page.boot_ns + self._page.wall_at_boot_ns) / 1e9

    def set_wall(self, wall_s):
        """Somebody sets the wall clock."""
        self._page.wall_at_boot_ns = round(wall_s * 1e9) - self._page.boot_ns

    @property
    def wanted_s(self):
        """What the program sleeps for."""
        return self._page.wanted_ns / 1e9

    def move_to(self, boot_s):
        """Time goes on till then."""
        self._calls.seams_move(self._page, round(boot_s * 1e9))

    def settle(self, pid):
        """Waits until the program rests; False if it has ended."""
        done = self._calls.seams_settle(self._page, pid, PATIENCE_S * 1000)
        if done == -2:
            raise Trouble(f"outlast did not come to rest within {PATIENCE_S} s")
        return done == 0


class Local(http.client.HTTPConnection):
    """HTTP over the program's Unix socket, where no pairing is needed."""

    def __init__(self, path):
        super().__init__("localhost", timeout=PATIENCE_S)
        self._path = str(path)

    def connect(self):
        """To the socket."""
        self.sock = socket.socket(socket.AF_UNIX)
        self.sock.settimeout(PATIENCE_S)
        self.sock.connect(self._path)


class Phone:
    """A phone in the same network, paired by the code that `outlast pin` prints."""

    def __init__(self, station):
        self._port = int(re.findall(r"http://127\.0\.0\.1:(\d+)/", station.log())[-1])
        self._station, self._ticket = station, None
        code = json.loads(station.outlast("pin", "--json")[1])["code"]
        status, headers = self._post("/api/v1/pair", "application/json", json.dumps({"code": code}))
        if status >= 300:
            raise Trouble(f"the phone is not paired: {status}")
        self._ticket = headers["Set-Cookie"].split(";")[0]

    def _post(self, path, kind, body):
        with contextlib.closing(http.client.HTTPConnection("127.0.0.1", self._port, timeout=PATIENCE_S)) as line:
            headers = {"Content-Type": kind, "Origin": f"http://127.0.0.1:{self._port}"}
            line.request("POST", path, body=body, headers=headers | ({"Cookie": self._ticket} if self._ticket else {}))
            answer = line.getresponse()
            answer.read()
        self._station.rest()
        return answer.status, answer.headers

    def tap(self, path, **fields):
        """Sends a form as a button of the page does; the status."""
        return self._post(path, "application/x-www-form-urlencoded", urllib.parse.urlencode(fields))[0]


class Station:
    """Board, clocks, program and truth. Use as a context manager."""

    def __init__(self, bench, settings, power_off=False, state=None, **sensor):
        self.binary, self.bench = bench.binary, bench
        self.folder = Path(tempfile.mkdtemp(prefix="seams-", dir=bench.scratch))
        self.board = boards.Board(self.folder / "root", **sensor)
        if power_off:
            self.board.install_power_off()
        self.clocks = Clocks(self.folder / "clocks", bench.library)
        self.state, self.runtime = self.folder / "state", self.folder / "run"
        self.runtime.mkdir(mode=0o700)
        if state:
            shutil.copytree(state, self.state)
        (self.folder / "settings.toml").write_text('station = "Heron"\n' + settings)
        self._service_manager()
        self.wall_s = MORNING_S  # the true time of day, whatever the board thinks
        self.delivered_wh = 0.0  # what has truly flowed since the last `new_count`
        self._process = None
        self._synchronise_at_s = None
        self.system_wall_s = self.wall_s

    def _service_manager(self):
        """What `systemctl list-jobs` says when the program asks why it is stopped: nothing of this machine."""
        self._jobs = self.folder / "jobs"
        self._jobs.write_text("")
        programs = self.folder / "bin"
        programs.mkdir()
        (programs / "systemctl").write_text(f"#!/bin/sh\nexec /bin/cat {self._jobs}\n")
        (programs / "systemctl").chmod(0o755)

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.cut_power()
        self.board.close()
        shutil.rmtree(self.folder, ignore_errors=True)

    # ---- the power comes and goes ---------------------------------------------------------------

    def boot(self, off_s=0.0, synchronised_after_s=None, first=None):
        """The power comes back after so long: a new boot, and the program is started. Without a clock battery the
        wall clock goes on from where it stood; `synchronised_after_s` later a time server is heard. `first`: what
        the sensor reads at the start."""
        self.board.another_boot()
        self.wall_s += off_s + STARTED_S
        self.clocks.switch_on(STARTED_S, self.system_wall_s)
        self._synchronise_at_s = None if synchronised_after_s is None else STARTED_S + synchronised_after_s
        self._synchronise()
        if first:
            self.board.reading(*first)
        self.start()

    def _synchronise(self):
        if self._synchronise_at_s is not None and self.clocks.boot_s >= self._synchronise_at_s:
            self.clocks.set_wall(self.wall_s)
            self.board.synchronised()
            self._synchronise_at_s = None

    def start(self):
        """Starts the program in this boot."""
        told = ["run", "--sysroot", self.board.root, "--state", self.state, "--listen", "127.0.0.1:0",
                "--settings", self.folder / "settings.toml"]
        self._jobs.write_text("")
        with open(self.folder / "log", "ab") as log:
            environment = self._environment() | {"SEAMS_CLOCKS": str(self.clocks.path), "LD_PRELOAD": str(self.bench.library)}
            self._process = subprocess.Popen(
                [self.binary, *told], env=environment, stdin=subprocess.DEVNULL, stdout=log, stderr=log, preexec_fn=die_with_parent)
        self.rest()
        end = time.monotonic() + PATIENCE_S
        while not self._answers():
            if time.monotonic() > end:
                raise Trouble(f"outlast does not answer; it said:\n{self.log()[-3000:]}")
            time.sleep(0.01)
        self.rest()

    def _answers(self):
        with contextlib.suppress(OSError), contextlib.closing(Local(self.socket)) as line:
            line.connect()
            return True
        return False

    def _environment(self):
        return {"HOME": str(self.folder), "PATH": str(self.folder / "bin"), "TZ": "UTC",
                "RUNTIME_DIRECTORY": str(self.runtime), "STATE_DIRECTORY": str(self.state)}

    def cut_power(self):
        """The plug is pulled, or the bank cuts out: nothing is written any more."""
        if self._process and self._process.poll() is None:
            self._process.kill()
            self._process.wait()
        self._ended()

    def shut_down(self):
        """The board is switched off in good order."""
        self._jobs.write_text("312 poweroff.target start waiting\n340 outlast.service stop running\n")
        self.stop()

    def stop(self):
        """The program is told to end."""
        self._process.send_signal(signal.SIGTERM)
        try:
            status = self._process.wait(PATIENCE_S)
        except subprocess.TimeoutExpired:
            raise Trouble("outlast does not end when told to") from None
        if status != 0:
            raise Trouble(f"outlast ended with status {status}; it said:\n{self.log()[-3000:]}")
        self._ended()

    def restart(self, after_s=3.0):
        """The program alone is told to end and started again so long after; the board has run on meanwhile."""
        self.stop()
        self.clocks.move_to(self.clocks.boot_s + after_s)
        self.wall_s += after_s
        self.start()

    def _ended(self):
        if self._process:
            self.system_wall_s = self.clocks.wall_s
            self._process = None

    @property
    def runs(self):
        """Whether the program is there."""
        return self._process is not None and self._process.poll() is None

    @property
    def asked_to_be_switched_off(self):
        """Whether the request is made that the service manager answers by switching off."""
        return (self.runtime / "poweroff-request").exists()

    # ---- time goes on ---------------------------------------------------------------------------

    def play(self, plan, for_s, watch=None, every_s=30.0, bank=None, flows=None, from_s=0.0):
        """Lets so many seconds pass with this plan, or with the rest of it from `from_s` on. `watch` sees the
        snapshot now and then, and ends the play by saying so; a `bank` that is empty cuts the power. `flows`: what
        truly flows, where the sensor says something else. Seconds that were played."""
        last_s = self.clocks.boot_s
        began_s, zero_s = last_s, last_s - from_s
        look_at_s = began_s + every_s
        real_s = time.monotonic()
        while True:
            at_s = max(self.clocks.wanted_s + LATE_S, last_s)
            if at_s > began_s + for_s + LATE_S:
                break
            flowed_wh = energy_wh(flows or plan, last_s - zero_s, at_s - zero_s)
            if bank and bank.drain(flowed_wh):
                self.delivered_wh += flowed_wh
                self.cut_power()
                break
            self.delivered_wh += flowed_wh
            self.board.counted(flowed_wh)
            self._sweep(plan(at_s - zero_s), at_s, busy_share(plan, last_s - zero_s, at_s - zero_s))
            last_s = at_s
            if watch and at_s >= look_at_s:
                look_at_s += every_s
                if watch(self.now()):
                    break
        self.bench.took(time.monotonic() - real_s)
        return last_s - began_s

    def _sweep(self, reading, at_s, busy):
        span_s = at_s - self.clocks.boot_s
        self.board.sensor(reading is not None)
        if reading is not None:
            self.board.reading(*reading)
        self.board.work(span_s, busy)
        self.wall_s += span_s
        self._synchronise()
        self.clocks.move_to(at_s)
        self.rest()
        self.bench.sweeps += 1

    def rest(self):
        """Waits until nothing goes on in the program any more."""
        if not self.clocks.settle(self._process.pid):
            raise Trouble(f"outlast has ended; it said:\n{self.log()[-3000:]}")

    def new_count(self):
        """Counts what flows from nought; what was counted."""
        was, self.delivered_wh = self.delivered_wh, 0.0
        return was

    # ---- what it says, and what it is told --------------------------------------------------------

    @property
    def socket(self):
        """The program's own socket."""
        return self.runtime / "outlast.sock"

    def ask(self, method, path, body=None):
        """(status, text) of one request."""
        with contextlib.closing(Local(self.socket)) as line:
            data = None if body is None else json.dumps(body)
            with contextlib.suppress(BrokenPipeError):  # refused before it was heard out
                line.request(method, path, body=data, headers={"Content-Type": "application/json"} if data else {})
            answer = line.getresponse()
            said = answer.status, answer.read().decode()
        self.rest()
        return said

    def get(self, path):
        """A page that must be there, as text."""
        status, text = self.ask("GET", path)
        if status != 200:
            raise Trouble(f"{path}: {status} {text[:300]}")
        return text

    def now(self):
        """The snapshot. A sweep that was missed would be the bench's fault, and spoil what is counted."""
        now = json.loads(self.get("/api/v1/now"))
        if now["missed_sweeps"]:
            raise Trouble(f"{now['missed_sweeps']} sweeps were missed")
        return now

    def post(self, path, body):
        """The status of an ask; what was said otherwise is in the log of the test."""
        status, text = self.ask("POST", path, body)
        if status >= 300:
            self.bench.note(f"POST {path} {json.dumps(body)}: {status} {text[:300]}")
        return status

    def answer(self, question, answer):
        """Answers a question of the page, or takes the answer back (None). Whether it was taken."""
        return self.post("/api/v1/answer", {"question": question, "answer": answer}) < 300

    def question(self, name):
        """The question of this name, if it stands."""
        found = [one for one in self.now().get("questions", []) if one["id"] == name]
        return found[0] if found else None

    def outings(self):
        """The outings on record, newest first."""
        return json.loads(self.get("/api/v1/outings"))["outings"]

    def outing(self, number):
        """One outing."""
        return json.loads(self.get(f"/api/v1/outings/{number}"))

    def bank(self, name):
        """A bank of the record."""
        banks = [bank for bank in json.loads(self.get("/api/v1/banks"))["banks"] if bank["name"] == name]
        if not banks:
            raise Trouble(f"the record has no bank {name}")
        return banks[0]

    def phone_tells_the_time(self):
        """A phone looks at the page and says what time it is."""
        return self.post("/api/v1/clock", {"boot_s": self.clocks.boot_s, "phone_unix_ms": round(self.wall_s * 1000), "within_s": 0.1})

    def phone(self):
        """A phone that may change things."""
        return Phone(self)

    def outlast(self, *words):
        """A command in the terminal: (status, what it printed, what it complained of)."""
        told = [self.binary, *words]
        done = subprocess.run(told, env=self._environment(), text=True, capture_output=True, stdin=subprocess.DEVNULL, timeout=PATIENCE_S)
        if done.returncode:
            self.bench.note(f"outlast {' '.join(words)}: {done.returncode} {done.stderr.strip()}")
        if self.runs:
            self.rest()
        return done.returncode, done.stdout, done.stderr

    def log(self):
        """What the program wrote to its journal."""
        return (self.folder / "log").read_text(errors="replace")


class Bank:
    """A true bank, which cuts out when it is empty."""

    def __init__(self, holds_wh):
        self.holds_wh = self.left_wh = holds_wh

    def drain(self, wh):
        """Takes so much; whether it has cut out."""
        self.left_wh -= wh
        return self.left_wh <= 0.0

    def left_s(self, watts):
        """How long it truly lasts at this draw."""
        return self.left_wh / watts * 3600.0


def busy_share(plan, from_s, to_s):
    """How busy the processor was between two moments of a plan."""
    return plan.mean("busy", from_s, to_s) if isinstance(plan, Truth) and to_s > from_s else 0.25


def energy_wh(plan, from_s, to_s):
    """What flows between two moments of a plan."""
    if isinstance(plan, Truth):
        return plan.wh("whole", from_s, to_s)
    steps = max(1, round((to_s - from_s) / FINE_S))
    step_s = (to_s - from_s) / steps
    return sum(plans.watts(plan(from_s + (k + 0.5) * step_s)) for k in range(steps)) * step_s / 3600.0
