"""Bringing the shots of an import into the run that it should have named."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import sqlalchemy as sa

from collector import replay
from collector.store import imports, presses, runs
from collector.store.imports import ImportRow
from collector.store.runs import FILE, INFERRED, RunRow
from collector.store.tables import alarms, gaugings, holds, shots
from collector.store.tables import limits as limits_table
from collector.store.tables import runs as runs_table
from collector.store.withdrawn import SITE


@dataclass(frozen=True, slots=True, kw_only=True)
class Gathered:
    """The run, the runs that went into it, and how many of the import's shots it has."""

    run_id: int
    names: tuple[str, ...]
    shots: int


def gatherable(conn: sa.Connection, row: ImportRow) -> dict[int, list[RunRow]]:
    """By press, the runs that were only inferred and have no shot but those of this import, oldest first."""
    found: dict[int, list[RunRow]] = {}
    for each in imports.presses_of(conn, row):
        if each.run_id is None:
            continue
        run = runs.by_id(conn, each.run_id)
        foreign = sa.select(shots.c.id).where(
            shots.c.run_id == run.id, sa.not_(sa.and_(*imports.of_shots(row)))
        )
        if run.opened_by == INFERRED and conn.execute(foreign.limit(1)).first() is None:
            found.setdefault(each.press_id, []).append(run)
    return {press: sorted(its, key=lambda run: run.opened_at) for press, its in found.items()}


def gather(
    conn: sa.Connection, row: ImportRow, press_id: int, inferred: Sequence[RunRow], name: str
) -> Gathered:
    """Make one named run of them; one of this name that is there takes them in.

    The charts keep what they said of each shot at the time, and are run again over the whole run.
    """
    presses.lock(conn, press_id)
    there = runs.by_name(conn, press_id, name)
    home = there or inferred[0]
    others = [run for run in inferred if run.id != home.id]
    if there is None:
        runs.rename(conn, home.id, name, opened_by=FILE)
    for run in others:
        _move(conn, run, home)
    opened_at = min(run.opened_at for run in (home, *others))
    runs.describe(conn, home.id, opened_at=opened_at, closed_at=_end((home, *others)))
    if others:
        _set_aside(conn, row, press_id, others)
    why = f"import {row.id} is of run {name}"
    replay.judge_again(conn, press_id, home.id, why=why, joined={run.id for run in others})
    count = sa.select(sa.func.count()).where(shots.c.run_id == home.id, *imports.of_shots(row))
    return Gathered(
        run_id=home.id, names=tuple(run.name for run in inferred), shots=conn.execute(count).scalar_one()
    )


def _end(all_runs: Sequence[RunRow]) -> datetime | None:
    """When the last of them ended, None while one is open."""
    ends = [run.closed_at for run in all_runs if run.closed_at is not None]
    return max(ends) if len(ends) == len(all_runs) else None


def _move(conn: sa.Connection, run: RunRow, home: RunRow) -> None:
    for table in (shots, alarms, holds, gaugings):
        conn.execute(sa.update(table).where(table.c.run_id == run.id).values(run_id=home.id))
    # Provisional limits of the run at home go first; those that join are later versions.
    c = limits_table.c
    newest = sa.select(sa.func.coalesce(sa.func.max(c.version), 0)).where(c.run_id == home.id)
    version = conn.execute(newest).scalar_one()
    own = sa.update(limits_table).where(c.run_id == run.id)
    conn.execute(own.values(run_id=home.id, version=c.version + version))


def _set_aside(conn: sa.Connection, row: ImportRow, press_id: int, emptied: Sequence[RunRow]) -> None:
    press = presses.by_id(conn, press_id)
    aside = presses.find_or_add(conn, SITE, f"{press.site} {press.name} import {row.id}")
    ids = [run.id for run in emptied]
    conn.execute(sa.update(runs_table).where(runs_table.c.id.in_(ids)).values(press_id=aside.id))
