"""Times at a terminal and in a log: UTC, wherever the computer stands."""

from __future__ import annotations

import re
import subprocess
import sys
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import collector
from collector.cli import moments

AT = datetime(2026, 11, 24, 1, 0, 12, tzinfo=ZoneInfo("Asia/Tokyo"))


def test_a_time_is_written_in_utc_and_says_so() -> None:
    assert moments.minute(AT) == "2026-11-23 16:00 UTC"
    assert moments.second(AT) == "2026-11-23 16:00:12 UTC"
    assert moments.day(AT) == "2026-11-23 UTC"
    assert moments.weekday(AT) == "Monday 16:00 UTC"


def test_no_command_writes_a_time_in_a_way_of_its_own() -> None:
    folder = Path(collector.__file__).parent / "cli"
    own = {
        path.name
        for path in folder.glob("*.py")
        if re.search(r"\{[^{}]*:%[YAaHd]|strftime|basicConfig", path.read_text(encoding="utf-8"))
    }
    assert own == {"moments.py"}


def test_a_log_is_in_utc_on_a_computer_in_another_zone() -> None:
    code = (
        "import logging; from collector.cli.moments import log_in_utc; log_in_utc('%(asctime)s %(message)s');"
        "r = logging.makeLogRecord({'msg': 'spoke', 'created': 0.25, 'msecs': 250.0, 'levelno': 20});"
        "logging.getLogger().handle(r)"
    )
    elsewhere = {"TZ": "Asia/Tokyo", "PYTHONPATH": str(Path(collector.__file__).parents[1])}
    done = subprocess.run(
        [sys.executable, "-c", code], env=elsewhere, capture_output=True, text=True, check=True
    )
    assert done.stderr == "1970-01-01 00:00:00.250 UTC spoke\n"
