"""The virtual board: a guest under QEMU's software emulation, with a control channel to its shell.

QEMU never outlives this process: it is killed at the end, on any error, when the time is up, and
by the kernel should this process itself be killed.
"""

import base64
import contextlib
import ctypes
import gzip
import os
import re
import shutil
import signal
import socket
import subprocess
import tempfile
import time
from pathlib import Path

import cpio

HERE = Path(__file__).resolve().parent


class BoardTrouble(Exception):
    """The virtual board itself did not do what it should."""


class TimeIsUp(BoardTrouble):
    """The run took longer than it may."""


def with_libraries(archive, program, place, there=None):
    """Adds a program, without its debugging text, and the shared libraries that it names; a library that is
    `there` already is not added twice."""
    there = set() if there is None else there
    with tempfile.TemporaryDirectory() as folder:
        slim = Path(folder) / "program"
        subprocess.run(["strip", "-o", slim, program], check=True)
        archive.file(place, slim.read_bytes(), executable=True)
    listed = subprocess.run(["ldd", program], text=True, capture_output=True)
    if listed.returncode != 0:
        return  # a static program
    for line in listed.stdout.splitlines():
        if "not found" in line:
            raise BoardTrouble(f"{program} needs a library that is not here: {line.strip()}")
        found = re.search(r"(?:=> )?(/\S+)", line)
        if found and found[1] not in there:
            path = found[1]
            there.add(path)
            archive.file(path, Path(path).resolve().read_bytes(), executable=True)


def free_port():
    """A port of this machine that nobody listens on at the moment."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def _die_with_parent():
    pr_set_pdeathsig = 1
    ctypes.CDLL(None).prctl(pr_set_pdeathsig, signal.SIGKILL)


class Board:
    """One boot of the virtual board. Use as a context manager."""

    def __init__(self, kernel, program, files, out, guest_port, disk=None, extra=(), programs=None, told=""):
        """`files`: what else is there, by place; `programs`: programs of this machine, by place; `told`: more for the
        kernel's command line."""
        self.kernel, self.program, self.files = Path(kernel), program, files
        self.programs, self.told = programs or {}, told
        self.out, self.disk, self.extra = Path(out), disk, list(extra)
        self.guest_port, self.port = guest_port, free_port()
        self.qemu = self.channel = None
        self._buffer, self._number = b"", 0
        self._folder = tempfile.mkdtemp(prefix="board-")

    def __enter__(self):
        try:
            self._boot()
        except BaseException:
            self.kill()
            raise
        return self

    def __exit__(self, *_):
        self.kill()

    def _boot(self):
        self.out.mkdir(parents=True, exist_ok=True)
        overlay = cpio.Archive()
        overlay.node("dev/console", 5, 1)
        overlay.file("init", (HERE / "guest/init").read_bytes(), executable=True)
        there = set()
        for place, path in {"usr/bin/outlast": self.program, **self.programs}.items():
            with_libraries(overlay, path, place, there)
        for place, data in self.files.items():
            overlay.file(place, data)
        initramfs = Path(self._folder) / "initramfs.gz"
        base = (self.kernel / "base.cpio.gz").read_bytes()
        initramfs.write_bytes(base + gzip.compress(overlay.bytes(), 1))
        control = f"{self._folder}/control"
        command = [
            "qemu-system-x86_64", "-accel", "tcg", "-M", "q35", "-cpu", "max", "-m", "512", "-smp", "1",
            "-nodefaults", "-display", "none", "-no-reboot",
            "-kernel", self.kernel / "vmlinuz", "-initrd", initramfs,
            "-append", "console=ttyS0 quiet loglevel=4 panic=-1 no_timer_check tsc=reliable " + self.told,
            "-serial", f"file:{self.out / 'console.log'}",
            "-netdev", f"user,id=net,restrict=on,hostfwd=tcp:127.0.0.1:{self.port}-:{self.guest_port}",
            "-device", "virtio-net-pci,netdev=net,romfile=",
            "-device", "virtio-rng-pci", "-device", "virtio-serial-pci",
            "-chardev", f"socket,id=control,path={control},server=on,wait=off",
            "-device", "virtserialport,chardev=control,name=board.control",
        ]
        if self.disk:
            command += ["-drive", f"file={self.disk},format=raw,if=none,id=card", "-device", "virtio-blk-pci,drive=card"]
        with open(self.out / "qemu.log", "wb") as log:
            self.qemu = subprocess.Popen(
                [*map(str, command), *self.extra], stdin=subprocess.DEVNULL, stdout=log, stderr=log,
                preexec_fn=_die_with_parent)
        self._connect(control)

    def _connect(self, path, within=120):
        end = time.monotonic() + within
        self.channel = socket.socket(socket.AF_UNIX)
        while True:
            self._check_alive()
            try:
                self.channel.connect(path)
                break
            except OSError:
                if time.monotonic() > end:
                    raise BoardTrouble("QEMU did not open the control channel") from None
                time.sleep(0.05)
        self._answer(0, end)

    def _check_alive(self):
        if self.qemu.poll() is not None:
            raise BoardTrouble(f"QEMU ended ({self.qemu.returncode}); see {self.out}/qemu.log and console.log")

    def _answer(self, number, end):
        """Waits for the answer with this number; (status, text)."""
        while True:
            while b"\n" in self._buffer:
                line, self._buffer = self._buffer.split(b"\n", 1)
                parts = line.split(b" ", 2)
                if len(parts) == 3 and parts[0] == b"%d" % number:
                    return int(parts[1]), base64.b64decode(parts[2]).decode(errors="replace")
            left = end - time.monotonic()
            if left <= 0:
                raise BoardTrouble(f"the guest did not answer command {number} in time; see {self.out}/console.log")
            self.channel.settimeout(min(left, 1.0))
            try:
                piece = self.channel.recv(65536)
            except TimeoutError:
                self._check_alive()
                continue
            if not piece:
                raise BoardTrouble("the control channel was closed")
            self._buffer += piece

    def try_run(self, command, within=60):
        """Runs shell text in the guest; (status, what it printed)."""
        self._number += 1
        text = base64.b64encode(command.encode())
        self.channel.settimeout(within)
        self.channel.sendall(b"%d %s\n" % (self._number, text))
        return self._answer(self._number, time.monotonic() + within)

    def run(self, command, within=60):
        """As `try_run`, but a failure is an error; what it printed."""
        status, text = self.try_run(command, within)
        if status != 0:
            raise BoardTrouble(f"in the guest, status {status}: {command}\n{text}")
        return text

    def kill(self):
        """Ends QEMU at once, as a battery that cuts out would."""
        if self.channel:
            self.channel.close()
            self.channel = None
        if self.qemu and self.qemu.poll() is None:
            self.qemu.kill()
            with contextlib.suppress(subprocess.TimeoutExpired):
                self.qemu.wait(10)
        shutil.rmtree(self._folder, ignore_errors=True)


def time_bound(seconds):
    """Ends the whole test with an error when it takes longer."""
    def too_long(*_):
        raise TimeIsUp(f"not done after {seconds} s")

    def told_to_stop(*_):
        raise TimeIsUp("told to stop")

    signal.signal(signal.SIGALRM, too_long)
    for sign in (signal.SIGTERM, signal.SIGHUP):
        signal.signal(sign, told_to_stop)
    signal.alarm(seconds)
