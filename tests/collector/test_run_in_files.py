"""A run that comes in several files, or is closed and goes on: held against the same shots in one piece."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime, timedelta
from pathlib import Path

import pytest
import sqlalchemy as sa

from collector.actions.imports import undo
from collector.clock import ServiceClock
from collector.importing import import_csv
from collector.settings import Settings
from collector.sources import profiles
from collector.store import database
from collector.store.tables import events, limits, presses, runs, shots
from tests.collector.pipelines import NOW, pipeline, rows, told, topic_message
from tests.collector.shots_in import START, cushions, message

PROFILE = """
kind = "shots"
press = "P1"
run = "R-1"
counter_column = "n"
time = {columns = ["time"]}
values = [{key = "cushion", column = "csh"}]
"""
Write = Callable[..., Path]


def ended(number: int) -> datetime:
    return START + timedelta(minutes=number)


@pytest.fixture
def write(tmp_path: Path) -> Write:
    def written(name: str, values: Sequence[float], first: int, *, later_min: int = 0) -> Path:
        lines = [
            f"{n},{ended(n + later_min).isoformat()},{value!r}" for n, value in enumerate(values, start=first)
        ]
        (tmp_path / name).write_text("\n".join(["n,time,csh", *lines]) + "\n")
        return tmp_path / name

    return written


def take(engine: sa.Engine, path: Path, *, run: str | None = None) -> None:
    clock = ServiceClock(wall_anchor=NOW, service_anchor=NOW, wall=lambda: NOW)
    profile = profiles.parse(PROFILE, "p")
    import_csv(engine, Settings(), path, profile, profile_name="p", clock=clock, run=run)


def test_a_run_of_three_files_is_charted_as_if_it_were_one(engine: sa.Engine, write: Write) -> None:
    values = cushions(180, shift=5.0, shift_from=150)
    for name, first in (("a.csv", 0), ("b.csv", 60), ("c.csv", 120)):
        take(engine, write(name, values[first : first + 60], first))

    whole = sa.create_engine("sqlite://", poolclass=sa.StaticPool, json_serializer=database.to_json)
    database.upgrade(whole)
    take(whole, write("whole.csv", values, 0))
    assert told(engine) == told(whole) != []
    assert rows(engine, shots.c.counter, shots.c.phase) == rows(whole, shots.c.counter, shots.c.phase)
    assert rows(engine, runs.c.name, runs.c.opened_at, runs.c.closed_at) == [("R-1", ended(0), ended(179))]


def test_a_file_of_a_run_that_went_on_since_repeats_nothing(engine: sa.Engine, write: Write) -> None:
    values = cushions(120)
    first, second = write("a.csv", values[:60], 0), write("b.csv", values[60:], 60)
    for each in (first, second):
        take(engine, each)
    before = rows(engine, events.c.kind, events.c.at), rows(engine, runs.c.closed_at)

    for each in (second, first):
        take(engine, each)

    assert (rows(engine, events.c.kind, events.c.at), rows(engine, runs.c.closed_at)) == before


def test_a_pause_between_two_files_of_a_run_is_a_stop(engine: sa.Engine, write: Write) -> None:
    values = cushions(120)
    take(engine, write("a.csv", values[:60], 0))
    take(engine, write("b.csv", values[60:], 60, later_min=30))

    after = [phase for _, phase in rows(engine, shots.c.counter, shots.c.phase)][55:65]
    assert after == ["charted"] * 5 + ["startup"] * 5


def test_a_run_does_not_go_on_with_the_charts_of_another_because_a_shot_of_it_came_late(
    engine: sa.Engine, write: Write
) -> None:
    values = cushions(180)
    take(engine, write("a.csv", values[:30], 0))
    take(engine, write("a2.csv", values[31:60], 31))
    take(engine, write("b.csv", [20.0 + value for value in values[60:120]], 60), run="R-2")
    take(engine, write("late.csv", values[30:31], 30))
    take(engine, write("c.csv", values[120:], 120))

    late = sa.select(runs.c.name).join(shots, shots.c.run_id == runs.c.id).where(shots.c.counter == 30)
    with database.read(engine) as conn:
        assert conn.execute(late).scalar() == "R-1"
    told_of_c = [each for each in told(engine) if int(str(each[0])) >= 120]
    assert told_of_c == []


def test_a_closed_run_that_the_press_goes_on_with_is_open_until_it_is_closed_again(engine: sa.Engine) -> None:
    taker = pipeline(engine)
    taker.take([topic_message("run", run="R-1", action="open", at=ended(0).isoformat())])
    taker.take([message(number, {"cushion": 5.0}, run="R-1") for number in range(3)])
    taker.take([topic_message("run", run="R-1", action="close", at=ended(3).isoformat())])
    assert rows(engine, runs.c.closed_at) == [(ended(3),)]

    taker.take([message(number, {"cushion": 5.0}, run="R-1") for number in range(5, 8)])
    assert rows(engine, runs.c.closed_at) == [(None,)]
    taker.take([topic_message("run", run="R-1", action="close", at=ended(9).isoformat())])
    assert rows(engine, runs.c.closed_at) == [(ended(9),)]


def test_a_run_ends_earlier_when_its_last_file_is_taken_back(engine: sa.Engine, write: Write) -> None:
    values = cushions(120)
    take(engine, write("a.csv", values[:60], 0))
    take(engine, write("b.csv", values[60:], 60))

    clock = ServiceClock(wall_anchor=NOW, service_anchor=NOW, wall=lambda: NOW)
    undo(engine, 2, who="quality 1", why="these are shots of P4", clock=clock)

    assert rows(engine, runs.c.closed_at) == [(ended(59),)]


def test_limits_that_a_file_gave_its_run_go_with_it_and_the_press_learns_anew(
    engine: sa.Engine, write: Write
) -> None:
    """The first file is of another process: held against its limits, every shot of the second signals."""
    values = cushions(180)
    take(engine, write("a.csv", [20.0 + value for value in values[:60]], 0))
    take(engine, write("b.csv", values[60:120], 60))
    assert len({counter for counter, *_ in told(engine)}) == 60

    clock = ServiceClock(wall_anchor=NOW, service_anchor=NOW, wall=lambda: NOW)
    undo(engine, 1, who="quality 1", why="these are shots of P4", clock=clock)
    take(engine, write("c.csv", values[120:], 120))

    assert told(engine) == []
    own = sa.select(limits.c.baseline).join(presses, presses.c.id == limits.c.press_id)
    with database.read(engine) as conn:
        (baseline,) = conn.execute(own.where(presses.c.name == "P1")).scalars().all()
    assert baseline["center"] == pytest.approx(6.0, abs=0.1)
    shown = rows(engine, shots.c.counter, shots.c.share, shots.c.signaled)
    assert {row[1:] for row in shown if row[0] in range(60, 120)} == {(None, False)}


def test_a_value_that_cannot_be_stays_in_doubt_when_the_limits_go(engine: sa.Engine, write: Write) -> None:
    values = cushions(120)
    values[90] = 1e6
    take(engine, write("a.csv", [20.0 + value for value in values[:60]], 0))
    take(engine, write("b.csv", values[60:], 60))

    clock = ServiceClock(wall_anchor=NOW, service_anchor=NOW, wall=lambda: NOW)
    undo(engine, 1, who="quality 1", why="these are shots of P4", clock=clock)

    assert [(counter, key, rule) for counter, key, _, rule, _ in told(engine)] == [
        (90, "cushion", "implausible")
    ]
