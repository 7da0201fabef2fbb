"""The program under test inside the guest: starting, stopping, and what it tells the host."""

import json
import time
import urllib.error
import urllib.request

PORT = 8073

# The demonstration station's 12 V bank, with the sensor at its terminals.
LONG_SIX = """\
station = "Heron"

[bank]
name = "Long six"
cells = "lifepo4"
series = 4
label_mah = 6000
label_v = 12.8
measured_at = "cells"
"""


class Outlast:
    """`outlast run` in the guest."""

    def __init__(self, board):
        self.board = board
        self._starts = 0

    def start(self, settings, fresh=True):
        """Starts it with this settings file; from an empty state folder unless told otherwise."""
        self._starts += 1
        log = f"/tmp/outlast.{self._starts}.log"
        self.board.run("cat > /tmp/settings.toml <<'END'\n" + settings + "END\n" + ("rm -rf /tmp/state" if fresh else ""))
        self.board.run(
            f"outlast run --settings /tmp/settings.toml --state /tmp/state --listen 0.0.0.0:{PORT} "
            f"> {log} 2>&1 < /dev/null & echo $! > /tmp/outlast.pid")

    def stop(self):
        """Asks it to end; how it ended, as the shell sees it, or None if it had to be killed."""
        text = self.board.run(
            "pid=$(cat /tmp/outlast.pid); kill -TERM $pid 2>/dev/null; n=0\n"
            "while [ -d /proc/$pid ] && ! grep -q '^State:.Z' /proc/$pid/status 2>/dev/null && [ $n -lt 100 ]; do usleep 100000; n=$((n+1)); done\n"
            "if [ $n -ge 100 ]; then kill -KILL $pid; echo killed; else echo ended; fi")
        return text.strip()

    def running(self):
        """Whether the process is there."""
        return self.board.try_run("pid=$(cat /tmp/outlast.pid); [ -d /proc/$pid ] && ! grep -q '^State:.Z' /proc/$pid/status 2>/dev/null")[0] == 0

    def log(self):
        """Everything it has written since the boot."""
        return self.board.run("for f in /tmp/outlast.*.log; do echo \"== $f\"; cat $f; done 2>/dev/null || true")

    def fetch(self, path):
        """A page, as text."""
        url = f"http://127.0.0.1:{self.board.port}{path}"
        with urllib.request.urlopen(url, timeout=5) as answer:
            return answer.read().decode()

    def now(self):
        """The snapshot."""
        return json.loads(self.fetch("/api/v1/now"))

    def wait_up(self, within=30):
        """Waits until it answers; False if it does not."""
        end = time.monotonic() + within
        while time.monotonic() < end:
            try:
                self.now()
                return True
            except (OSError, ValueError):
                time.sleep(0.2)
        return False
