"""Events and steps in words, the same on every screen and in the audit."""

from __future__ import annotations

import re
from pathlib import Path
from types import SimpleNamespace
from typing import Any, get_args

import pytest

import collector
from collector.alarms.lifecycle import AlarmEvent
from dashboard.blocks.event_words import KINDS, STEPS, change_words, from_to, kind_words, step_words

NOTHING = float("nan")  # as a table of pandas has it


def event(kind: str, key: str | None, old: Any, new: Any, note: Any = None) -> SimpleNamespace:
    return SimpleNamespace(kind=kind, key=key, old=old, new=new, note=note)


@pytest.mark.parametrize(
    ("happened", "words"),
    [
        (event("setpoint", "cooling_time", 36.0, 34.0), "Cooling time from 36.00 s to 34.00 s"),
        (event("setpoint", "cooling_time", None, 34.0), "Cooling time 34.00 s"),
        (event("lot", None, "7689", "7702"), "7689 to 7702"),
        (event("lot", None, NOTHING, "7702", NOTHING), "7702"),
        (event("stop", None, None, 900.0), "no shot for 15 min"),
        (event("stop", None, NOTHING, NOTHING, NOTHING), ""),
        (event("stop", None, None, 16 * 3600.0), "no shot for 16.0 h"),
        (event("state", None, "automatic", "stopped", "lunch"), "automatic to stopped, lunch"),
        (event("chart_restart", None, None, None, "press found steady"), "press found steady"),
        (event("gap", None, 3, 7, "3 shots never arrived"), "3 to 7, 3 shots never arrived"),
        (event("run", None, "R-1", "R-2"), "R-2 opened"),
        (event("run", None, "R-1", "R-2", NOTHING), "R-2 opened"),
        (event("run", None, "R-1", None, "closed"), "R-1 closed"),
        (event("maintenance", None, None, "mold cleaned", "with alcohol"), "mold cleaned: with alcohol"),
        (event("limits", "cushion", None, 4, "usable"), "Cushion: usable"),
        (event("limits", "cushion", None, 4, NOTHING), "Cushion: new limits"),
        (event("limits", None, None, 4), "new limits"),
        (event("startup", None, NOTHING, None, NOTHING), ""),
    ],
)
def test_events_say_what_changed(happened: SimpleNamespace, words: str) -> None:
    assert change_words(happened) == words


def test_a_column_of_its_own_names_the_characteristic_so_the_other_does_not() -> None:
    assert from_to(event("setpoint", "cooling_time", 36.0, 34.0)) == "36.00 s to 34.00 s"


def test_what_has_no_words_of_its_own_is_said_by_its_name() -> None:
    assert (kind_words("gap"), kind_words("new_kind")) == ("Missing shots", "New kind")
    assert (step_words("reset"), step_words("new_step")) == ("No disc on hold any more", "New step")


def test_every_kind_and_every_step_that_the_collector_writes_has_words() -> None:
    """Read off its source, so that a new one cannot be forgotten here."""
    modules = Path(collector.__file__).parent.rglob("*.py")
    source = "".join(path.read_text(encoding="utf-8") for path in modules)
    written = {a or b for a, b in re.findall(r'\.event\(\s*"(\w+)"|Event\(kind="(\w+)"', source)}
    assert {"setpoint", "run", "chart_restart", "gap"} <= written <= set(KINDS)
    assert set(get_args(AlarmEvent)) <= set(STEPS)
