"""Runs of files that nobody named: when they end, and that shots which come after all find them.

How long parts two runs is our own setting; that a finished run is closed, so that it can be archived, is
common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from pathlib import Path

import pytest
import sqlalchemy as sa

from collector import quiet_runs
from collector.clock import ServiceClock
from collector.contract.shot import Shot
from collector.importing import import_csv
from collector.keeping import archive
from collector.pipeline import Read
from collector.settings import Settings
from collector.sources import profiles
from collector.store import database, presses
from collector.store.tables import events, runs, shots
from collector.store.tables import presses as presses_table
from tests.collector.pipelines import messages, pipeline, rows
from tests.collector.shots_in import START, cushions, shot

HOURS_4 = timedelta(hours=4)
PROFILE = """
kind = "shots"
press = "P1"
counter_column = "n"
time = {columns = ["time"]}
values = [{key = "cushion", column = "csh"}]
"""


def ended(number: int) -> datetime:
    return START + timedelta(minutes=number)


def take(
    engine: sa.Engine, folder: Path, name: str, values: Sequence[float], first: int, *, now: datetime
) -> None:
    lines = [f"{n},{ended(n).isoformat()},{value!r}" for n, value in enumerate(values, start=first)]
    (folder / name).write_text("\n".join(["n,time,csh", *lines]) + "\n")
    clock = ServiceClock(wall_anchor=now, service_anchor=now, wall=lambda: now)
    profile = profiles.parse(PROFILE, "p")
    import_csv(engine, Settings(), folder / name, profile, profile_name="p", clock=clock)


def ends(engine: sa.Engine) -> list[datetime | None]:
    return [row[0] for row in rows(engine, runs.c.closed_at)]  # type: ignore[misc]


def end(engine: sa.Engine, now: datetime) -> list[str]:
    with database.write(engine) as conn:
        return quiet_runs.end(conn, "lowland", now=now, after=HOURS_4)


def test_an_old_file_ends_its_run_which_can_then_be_archived(engine: sa.Engine, tmp_path: Path) -> None:
    take(engine, tmp_path, "old.csv", cushions(60), 0, now=START + timedelta(days=400))

    assert ends(engine) == [ended(59)]
    said = rows(engine, events.c.kind, events.c.old, events.c.note)[-1]
    assert said == ("run", "P1-20261102-060000", "closed: no shot came for 4 h")
    with database.read(engine) as conn:
        assert len(archive.due(conn, now=START + timedelta(days=400), values_days=300)) == 1


def test_a_file_of_just_now_ends_its_run_when_no_other_came_for_so_long(
    engine: sa.Engine, tmp_path: Path
) -> None:
    take(engine, tmp_path, "new.csv", cushions(60), 0, now=ended(70))
    assert end(engine, ended(59) + HOURS_4) == []
    assert ends(engine) == [None]
    assert end(engine, ended(60) + HOURS_4) == ["P1-20261102-060000"]
    assert end(engine, ended(61) + HOURS_4) == []
    assert ends(engine) == [ended(59)]


def test_files_of_one_run_that_come_late_are_one_run(engine: sa.Engine, tmp_path: Path) -> None:
    values, now = cushions(180), START + timedelta(days=30)
    for first in (0, 60, 120):
        take(engine, tmp_path, f"{first}.csv", values[first : first + 60], first, now=now)

    assert ends(engine) == [ended(179)]
    assert len({row[0] for row in rows(engine, shots.c.run_id)}) == 1


def test_a_pause_between_two_files_parts_two_runs(engine: sa.Engine, tmp_path: Path) -> None:
    now = START + timedelta(days=30)
    take(engine, tmp_path, "a.csv", cushions(60), 0, now=now)
    take(engine, tmp_path, "b.csv", cushions(60), 600, now=now)
    assert len(ends(engine)) == 2
    assert None not in ends(engine)


@pytest.mark.parametrize("days", [1, 30])
def test_a_run_that_the_press_tells_stays_open_however_quiet_it_is(engine: sa.Engine, days: int) -> None:
    pipeline(engine).take(messages(cushions(60)))
    assert end(engine, START + timedelta(days=days)) == []
    assert ends(engine) == [None]


def shots_of(press: str, values: Sequence[float]) -> list[Shot]:
    return [
        shot(number, press=press, values={"cushion": value}, source="old.csv")
        for number, value in enumerate(values)
    ]


def test_presses_are_locked_in_the_order_in_which_a_batch_locks_them(
    engine: sa.Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    """By name, whichever came to the store first."""
    for press in ("P2", "P1"):
        taken = shots_of(press, cushions(20))
        pipeline(engine).take_records([Read(each, b"", "old.csv:1") for each in taken])
    locked: list[int] = []
    monkeypatch.setattr(presses, "lock", lambda _conn, press_id: locked.append(press_id))

    end(engine, START + timedelta(days=1))

    names = dict(rows(engine, presses_table.c.id, presses_table.c.name))
    assert [names[each] for each in locked] == ["P1", "P2"]
