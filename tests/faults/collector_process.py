"""`evenrun collect` as a process that a test may kill."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

COMMAND = [sys.executable, "-c", "from collector.cli import main; main(['collect'])"]
# The same with a clock that can be stepped; EVENRUN_ is for settings alone.
STEPPED_COMMAND = [
    sys.executable, "-c",
    "import tests.faults.stepped_clock; from collector.cli import main; main(['collect'])",
]
ROOT = Path(__file__).resolve().parents[2]


class CollectorProcess:
    """Starts, kills and restarts a collector on one store and one broker.

    Parameters
    ----------
    environment : dict
        ``EVENRUN_...`` variables, which are all the settings it has.
    log : Path
        File that what it prints is added to.
    command : list of str
        What is run.
    """

    def __init__(self, environment: dict[str, str], log: Path, command: list[str] = COMMAND) -> None:
        kept = {name: value for name, value in os.environ.items() if not name.startswith("EVENRUN_")}
        path = os.pathsep.join(filter(None, (str(ROOT), kept.get("PYTHONPATH"))))
        self._environment = {**kept, "PYTHONPATH": path, **environment}
        self._log = log
        self._command = command
        self._process: subprocess.Popen[bytes] | None = None
        self._began_at = 0  # where in the log this process begins

    def start(self) -> None:
        """Start it; returns at once."""
        with self._log.open("ab") as log:
            self._began_at = log.tell()
            self._process = subprocess.Popen(
                self._command, env=self._environment, stdout=log, stderr=log, cwd=self._log.parent
            )

    def connected(self) -> bool:
        """Whether this process, not one before it, has said that it is connected."""
        return self.has_said("connected to")

    def has_said(self, words: str, since: int = 0) -> bool:
        """Whether this process has logged such words, after place `since` of the log."""
        return words.encode() in self._log.read_bytes()[max(since, self._began_at) :]

    def place(self) -> int:
        """How far its log goes now."""
        return self._log.stat().st_size

    def kill(self) -> None:
        """End it as a power cut would."""
        self._end(signal.SIGKILL)

    def stop(self) -> int:
        """End it as Ctrl-C does; return its exit code."""
        return self._end(signal.SIGINT)

    def wait(self, timeout_s: float) -> int:
        """Wait until it ends by itself; return its exit code."""
        assert self._process is not None, "it was started before"
        return self._process.wait(timeout_s)

    def end_if_running(self) -> None:
        """Kill it, unless it has ended."""
        if self._process is not None and self._process.poll() is None:
            self._process.kill()
            self._process.wait(30)

    def _end(self, number: int) -> int:
        process = self._process
        assert process is not None, "it was started before"
        assert process.poll() is None, f"it ended by itself: {self._log.read_text()[-2000:]}"
        process.send_signal(number)
        return process.wait(30)


def wait_until(true: Callable[[], bool], *, timeout_s: float, what: str) -> None:
    """Wait for something that another process does."""
    deadline = time.monotonic() + timeout_s
    while not true():
        if time.monotonic() > deadline:
            raise AssertionError(f"not within {timeout_s:g} s: {what}")
        time.sleep(0.1)
