"""The demo's child processes: started in groups of their own, watched, and all ended at the end."""

from __future__ import annotations

import ctypes
import os
import signal
import subprocess
import sys
import threading
from collections.abc import Sequence
from pathlib import Path
from types import TracebackType
from typing import IO, Self

from collector.cli import main
from collector.errors import EvenrunError

PATIENCE_S = 8.0
PR_SET_PDEATHSIG = 1  # prctl(2) of Linux


class Children:
    """Processes that end with this object; open it as a context manager.

    Parameters
    ----------
    logs : Path
        Folder for what each process prints, one file a name.
    """

    def __init__(self, logs: Path) -> None:
        self._logs = logs
        self._running: list[tuple[str, subprocess.Popen[bytes], IO[bytes]]] = []

    def __enter__(self) -> Self:
        self._logs.mkdir(parents=True, exist_ok=True)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.stop()

    def start(self, name: str, words: Sequence[str]) -> None:
        """Start ``evenrun WORDS``; what it prints goes to ``NAME.log``."""
        log = (self._logs / f"{name}.log").open("ab")
        # A group of its own: Ctrl-C reaches us alone, and we end the children in order.
        child = subprocess.Popen(
            [sys.executable, "-P", "-c", "from simulator.processes import run_child; run_child()", *words],
            stdin=subprocess.PIPE,  # its end tells the child that we are gone, however we went
            stdout=log,
            stderr=subprocess.STDOUT,
            start_new_session=True,
        )
        self._running.append((name, child, log))

    def check(self) -> None:
        """Raise if a process ended by itself.

        Raises
        ------
        EvenrunError
            With the last line it printed, and where the rest is.
        """
        for name, child, _ in self._running:
            if child.poll() is not None:
                log = self._logs / f"{name}.log"
                raise EvenrunError(f"the {name} ended by itself: {self.last_line(name)}; see {log}")

    def last_line(self, name: str) -> str:
        """The last line a process printed."""
        lines = (self._logs / f"{name}.log").read_text(encoding="utf-8", errors="replace").splitlines()
        return lines[-1] if lines else "it printed nothing"

    def stop(self) -> None:
        """End every process, the youngest first: ask, wait, then insist."""
        for _, child, log in reversed(self._running):
            _end(child)
            log.close()
        self._running.clear()


def run_child() -> None:
    """Run the command line of this process; end it when the parent is gone, even by kill -9."""
    if sys.platform == "linux":
        # The kernel's way, which also holds when the command gives its place to another program.
        ctypes.CDLL(None).prctl(PR_SET_PDEATHSIG, signal.SIGTERM)
    threading.Thread(target=_outlive_nobody, name="parent", daemon=True).start()
    main()


def _outlive_nobody() -> None:
    """End the group when the pipe from the parent closes."""
    # Not through sys.stdin, whose lock a thread that waits in it keeps: the interpreter aborts at its end.
    while os.read(0, 1024):
        pass
    os.killpg(os.getpgrp(), signal.SIGTERM)


def _end(child: subprocess.Popen[bytes]) -> None:
    if child.poll() is not None:
        return
    os.killpg(child.pid, signal.SIGTERM)
    try:
        child.wait(PATIENCE_S)
    except subprocess.TimeoutExpired:
        os.killpg(child.pid, signal.SIGKILL)
        child.wait()
