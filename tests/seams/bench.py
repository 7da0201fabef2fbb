"""What every scenario stands on: the program under test, the preloaded library, and the tally of its checks."""

import subprocess
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]
sys.path.append(str(ROOT / "tests/board"))

from tally import Tally  # noqa: E402


def compile_clocks(folder):
    """The library that is preloaded, made of `clocks.c`."""
    library = Path(folder) / "clocks.so"
    subprocess.run(["cc", "-O2", "-Wall", "-Wextra", "-Werror", "-shared", "-fPIC", "-o", library, HERE / "clocks.c"], check=True)
    return library


class Bench:
    """Tools and checks of one scenario."""

    def __init__(self, binary, library, scratch, taught, log):
        self.binary, self.library, self.scratch, self.taught = binary, library, scratch, taught
        self._tally = Tally(log)
        self.sweeps, self.played_s = 0, 0.0

    def note(self, text):
        """For the log only."""
        self._tally.note(text)

    def took(self, real_s):
        """So much real time went into playing."""
        self.played_s += real_s

    def check(self, name, holds, expected, got):
        """One check; whether it holds."""
        return self._tally.check(name, holds, expected, got)

    def near(self, name, got, wanted, tolerance, unit):
        """A number that must be there and close enough."""
        holds = got is not None and abs(got - wanted) <= tolerance
        said = "nothing" if got is None else f"{got:.3f} {unit}"
        return self.check(name, holds, f"{wanted:.3f} {unit} to {tolerance:.3f}", said)

    def most(self, name, got, limit, unit):
        """A number that must be there and not be larger."""
        return self.check(name, got is not None and got <= limit, f"at most {limit:.3f} {unit}", "nothing" if got is None else f"{got:.3f} {unit}")

    def least(self, name, got, limit, unit):
        """A number that must be there and not be smaller."""
        return self.check(name, got is not None and got >= limit, f"at least {limit:.3f} {unit}", "nothing" if got is None else f"{got:.3f} {unit}")

    @property
    def counts(self):
        """(passed, failed)."""
        return self._tally.passed, self._tally.failed
