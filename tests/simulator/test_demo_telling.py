"""What the demo says while it fills its store, on a terminal and in a log."""

from __future__ import annotations

import io
from datetime import UTC, datetime, timedelta

from rich.console import Console

from simulator.demo_telling import filling

SUNDAY = datetime(2026, 11, 1, tzinfo=UTC)
FRIDAY = SUNDAY + timedelta(days=5, hours=22)


def told(*, terminal: bool) -> str:
    out = io.StringIO()
    console = Console(file=out, force_terminal=terminal, width=100, color_system=None)
    with filling(console, "Filling the store.", first=SUNDAY, last=FRIDAY) as progress:
        until = SUNDAY
        while until < FRIDAY:
            until += timedelta(minutes=15)
            progress(until)
    return out.getvalue()


def test_a_log_gets_a_line_a_day_of_the_floor() -> None:
    lines = told(terminal=False).splitlines()
    assert lines[:2] == ["Filling the store.", "Sunday is told, 17% of the week"]
    assert [line.split()[0] for line in lines[1:]] == ["Sunday", "Monday", "Tuesday", "Wednesday", "Thursday"]
    assert len(lines) == 6


def test_a_terminal_gets_a_bar_with_the_day_and_the_share() -> None:
    said = told(terminal=True)
    assert said.startswith("Filling the store.")
    assert "Friday 22:00" in said
    assert "100%" in said
