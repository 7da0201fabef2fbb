#!/usr/bin/env python3
"""What asking costs: processor time a request, and memory under askers who never read.

    tests/asking.py [BINARY]

Writes a record of 100 outings of 12 h and one of a single outing of 48 h (cargo run --example many_outings), runs
the build that is named on each (the release build if none is), and prints the figures of docs/footprint.md that stand
under 'Asking'.
"""
import http.client
import os
import pathlib
import re
import shutil
import socket
import subprocess
import sys
import tempfile
import time

TREE = pathlib.Path(__file__).resolve().parent.parent
TICK_MS = 1000 / os.sysconf("SC_CLK_TCK")
SLOW = 48


def record(folder, outings, hours):
    command = ["cargo", "run", "-q", "--offline", "-p", "history", "--example", "many_outings", "--"]
    subprocess.run([*command, folder, str(outings), str(hours)], check=True, cwd=TREE)


class Running:
    def __init__(self, binary, outings, hours):
        self.home = tempfile.mkdtemp()
        state, board = self.home + "/.local/state/outlast", self.home + "/board/proc"
        os.makedirs(state)
        os.makedirs(board)
        record(state, outings, hours)
        words = [binary, "run", "--listen", "127.0.0.1:0", "--sysroot", self.home + "/board"]
        # As the unit has it.
        env = {"HOME": self.home, "MALLOC_MMAP_THRESHOLD_": "131072", "MALLOC_ARENA_MAX": "1"}
        self.child = subprocess.Popen(words, env=env, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)
        found = (re.search(r"http://127\.0\.0\.1:(\d+)/", line) for line in self.child.stdout)
        self.port = int(next(hit for hit in found if hit).group(1))
        time.sleep(3)

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.child.kill()
        self.child.wait()
        shutil.rmtree(self.home)

    def spent_ms(self):
        fields = pathlib.Path(f"/proc/{self.child.pid}/stat").read_text().rsplit(") ", 1)[1].split()
        return (int(fields[11]) + int(fields[12])) * TICK_MS

    def resident_mib(self):
        text = pathlib.Path(f"/proc/{self.child.pid}/status").read_text()
        return int(re.search(r"VmRSS:\s+(\d+)", text).group(1)) / 1024

    def get(self, path):
        link = http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)
        link.request("GET", path)
        answer = link.getresponse()
        answer.read()
        link.close()
        return answer.status

    def cost_ms(self, path, times):
        before = self.spent_ms()
        for _ in range(times):
            assert self.get(path) == 200, path
        return (self.spent_ms() - before) / times

    def never_read(self, path):
        held = []
        for k in range(SLOW):
            asker = socket.socket()
            asker.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 2048)
            asker.bind((f"127.0.0.{2 + k // 12}", 0))
            asker.connect(("127.0.0.1", self.port))
            asker.send(f"GET {path} HTTP/1.1\r\nHost: localhost\r\n\r\n".encode())
            held.append(asker)
        most = 0
        for _ in range(100):
            most = max(most, self.resident_mib())
            time.sleep(0.1)
        status = self.get("/outings")
        for asker in held:
            asker.close()
        return most, status


def main():
    binary = sys.argv[1] if len(sys.argv) > 1 else str(TREE / "target/release/outlast")
    with Running(binary, 100, 12) as it:
        for path in ["/banks/1/book", "/outings/50", "/outings/50.csv", "/outings/50.json"]:
            first = it.cost_ms(path, 1)
            print(f"{path}: {first:.0f} ms of processor, then {it.cost_ms(path, 20):.1f} ms each")
    with Running(binary, 1, 48) as it:
        print(f"resident: {it.resident_mib():.1f} MiB")
        for path in ["/outings/1.csv", "/outings/1.json", "/api/v1/outings/1/series?points=4000"]:
            most, status = it.never_read(path)
            print(f"with {SLOW} that never read {path}: {most:.1f} MiB; another's page: {status}")


main()
