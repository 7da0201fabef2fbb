"""Counts what was checked: one line a check, nothing left out."""

import time


class Tally:
    """Passed and failed checks. Every name that was announced has to be checked in the end."""

    def __init__(self, log):
        self.passed, self.failed, self._log = 0, 0, log
        self._began = time.monotonic()

    def note(self, text):
        """For the record only."""
        self._log.write(f"[{time.monotonic() - self._began:7.1f}] {text}\n")
        self._log.flush()

    def check(self, name, holds, expected, got):
        """One check; whether it holds."""
        if holds:
            self.passed += 1
            line = f"ok {name}"
        else:
            self.failed += 1
            line = f"FAILED {name}: expected {expected} got {got}"
        print(line, flush=True)
        self.note(f"{line}    ({got})" if holds else line)
        return bool(holds)

    def until(self, name, within, expected, look, every=0.3):
        """Checks that `look` says yes within so many seconds. It returns (yes or no, what it saw);
        what it raises counts as no."""
        end = time.monotonic() + within
        while True:
            try:
                holds, got = look()
            except (OSError, KeyError, ValueError, TypeError, LookupError) as error:
                holds, got = False, f"{type(error).__name__}: {error}"
            if holds or time.monotonic() > end:
                return self.check(name, holds, f"{expected} within {within} s", got)
            time.sleep(every)

    def throughout(self, name, span, expected, look, every=0.5):
        """Checks that `look` says yes at every look for so many seconds."""
        end = time.monotonic() + span
        looks = 0
        while True:
            try:
                holds, got = look()
            except (OSError, KeyError, ValueError, TypeError, LookupError) as error:
                holds, got = False, f"{type(error).__name__}: {error}"
            looks += 1
            if not holds or time.monotonic() > end:
                return self.check(name, holds, f"{expected}, all through {span} s", f"{got} (look {looks})")
            time.sleep(every)

    def close(self):
        """Prints the closing line; the exit status."""
        line = f"{self.passed} passed, {self.failed} failed"
        self.note(line)
        print(line, flush=True)
        return 1 if self.failed or not self.passed else 0
