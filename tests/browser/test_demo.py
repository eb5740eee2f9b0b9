"""The demo from nothing: live shots on the floor screen, an alarm with its hold, and nothing left behind."""

from __future__ import annotations

import os
import re
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from collector.store.types import to_micros
from simulator.demo_story import LIVE_START

pytestmark = [pytest.mark.chromium, pytest.mark.slow]

START_S = 90.0
ALARM_S = 180.0
LIVE_ALARMS = f"""
    SELECT count(*) FROM alarms JOIN holds ON holds.alarm_id = alarms.id
    WHERE alarms.opened_at >= {to_micros(LIVE_START)} AND alarms.closed_at IS NULL
"""
COMMAND = [sys.executable, "-c", "from collector.cli import main; main()", "demo", "--port", "0", "--data"]


class Demo:
    """`evenrun demo` in a folder of its own."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.log = folder.parent / "demo.log"
        self.process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        """Start it; it goes on with what the folder holds."""
        with self.log.open("wb") as log:
            self.process = subprocess.Popen([*COMMAND, str(self.folder)], stdout=log, stderr=log)

    def address(self) -> str:
        """The address it prints."""
        found = wait_for(lambda: re.search(r"http://localhost:\d+", self.said()), START_S, "an address")
        return str(found.group())

    def said(self) -> str:
        return self.log.read_text(encoding="utf-8", errors="replace")

    def end(self) -> int:
        """Press Ctrl-C; return the exit code."""
        assert self.process is not None
        self.process.send_signal(signal.SIGINT)
        return self.process.wait(60)

    def rows(self, query: str) -> list[Any]:
        """Ask its store."""
        store = sqlite3.connect(f"file:{self.folder / 'evenrun.db'}?mode=ro", uri=True)
        try:
            return store.execute(query).fetchall()
        finally:
            store.close()

    def children(self) -> list[int]:
        """Processes that stand in sessions of their own and have its settings."""
        mine = f"EVENRUN_SETTINGS={self.folder / 'evenrun.toml'}".encode()
        return [int(entry.name) for entry in Path("/proc").iterdir() if _environment_has(entry, mine)]


def _environment_has(entry: Path, variable: bytes) -> bool:
    try:
        return entry.name.isdigit() and variable in (entry / "environ").read_bytes().split(b"\0")
    except OSError:  # it ended, or is none of ours
        return False


def wait_for(found: Callable[[], Any], timeout_s: float, what: str) -> Any:
    deadline = time.monotonic() + timeout_s
    while not (value := found()):
        if time.monotonic() > deadline:
            raise AssertionError(f"not within {timeout_s:g} s: {what}")
        time.sleep(0.25)
    return value


@pytest.fixture
def demo(tmp_path: Path) -> Iterator[Demo]:
    running = Demo(tmp_path / "demo")
    running.start()
    yield running
    assert running.process is not None
    if running.process.poll() is None:
        running.process.kill()
        running.process.wait(30)


@pytest.mark.skipif(not Path("/proc").exists(), reason="looks for processes in /proc, which is not here")
def test_the_demo_shows_the_whole_job_and_leaves_nothing_behind(demo: Demo, browser: Any) -> None:
    page = browser.new_page(viewport={"width": 1920, "height": 1080})
    page.goto(demo.address())
    wait_for(lambda: "Live:" in demo.said(), START_S, "the live part begins")

    first = wait_for(lambda: dots(page), START_S, "shots on the screen")
    wait_for(lambda: dots(page) not in ([], first), 30, "the next live shot on the screen")
    wait_for(lambda: demo.rows(LIVE_ALARMS)[0][0], ALARM_S, "a live alarm with its hold")
    wait_for(lambda: {"since shot", "Hold"} <= found_in(words(page)), 30, "the alarm on the screen")
    assert demo.rows("SELECT count(*) FROM refusals") == [(0,)]
    page.close()

    stored = demo.rows("SELECT count(*), max(ended_at) FROM shots")[0]
    assert demo.end() == 0
    assert demo.children() == []

    demo.start()
    wait_for(lambda: "Live:" in demo.said(), START_S, "the live part goes on")
    wait_for(lambda: demo.rows("SELECT count(*) FROM shots")[0][0] > stored[0] + 3, 60, "more shots")
    twice = "SELECT count(*) FROM (SELECT 1 FROM shots GROUP BY press_id, epoch, counter HAVING count(*) > 1)"
    assert demo.rows(twice) == [(0,)]
    assert demo.rows("SELECT count(*) FROM events WHERE kind = 'gap'") == [(0,)]
    assert demo.end() == 0


def dots(page: Any) -> list[str]:
    """How the shots of the lanes are drawn; they move with the floor's time, unless no news come."""
    drawn = page.locator("svg.wall > path").evaluate_all("paths => paths.map(path => path.getAttribute('d'))")
    return [str(path) for path in drawn]


def found_in(text: str) -> set[str]:
    return {words for words in ("since shot", "Hold") if words in text}


def words(page: Any) -> str:
    """All words of the floor's drawing, whatever keeps some of them together."""
    return " ".join(page.locator("svg text").all_text_contents()).replace("\N{NO-BREAK SPACE}", " ")


def test_a_first_filling_that_was_cut_short_is_told_anew(demo: Demo) -> None:
    wait_for(lambda: demo.folder.joinpath("evenrun.db").exists(), START_S, "a store")
    time.sleep(3.0)
    os.kill(demo.process.pid, signal.SIGKILL)  # type: ignore[union-attr]
    demo.process.wait(30)  # type: ignore[union-attr]
    wait_for(lambda: not demo.children(), 30, "the end of its children")

    demo.start()
    wait_for(lambda: "Live:" in demo.said(), START_S, "the live part begins")

    runs = demo.rows("SELECT count(*) FROM runs WHERE name LIKE 'R-04%'")[0][0]
    assert runs >= 12
    assert demo.end() == 0
