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


class CollectorProcess:
    """Starts, kills and restarts a collector on one store and one broker.

    Parameters
    ----------
    environment : dict
        ``EVENRUN_...`` variables, which are all the settings it has.
    log : Path
        File that what it prints is added to.
    """

    def __init__(self, environment: dict[str, str], log: Path) -> None:
        kept = {name: value for name, value in os.environ.items() if not name.startswith("EVENRUN_")}
        self._environment = {**kept, **environment}
        self._log = log
        self._process: subprocess.Popen[bytes] | None = None
        self._began_at = 0  # where in the log this process begins

    def start(self) -> None:
        """Start it; returns at once."""
        with self._log.open("ab") as log:
            self._began_at = log.tell()
            self._process = subprocess.Popen(
                COMMAND, env=self._environment, stdout=log, stderr=log, cwd=self._log.parent
            )

    def connected(self) -> bool:
        """Whether this process, not one before it, has said that it is connected."""
        return b"connected to" in self._log.read_bytes()[self._began_at :]

    def kill(self) -> None:
        """End it as a power cut would."""
        self._end(signal.SIGKILL)

    def stop(self) -> int:
        """End it as Ctrl-C does; return its exit code."""
        return self._end(signal.SIGINT)

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
