"""What the limits page reads: runs to study, the shots that a proposal is tried on, versions of limits."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import pandas as pd
import sqlalchemy as sa
from sqlalchemy.engine import Connection, Row

from collector.actions.limits_steady import SMALLEST, STEADY, Steady
from collector.retrace import in_chart_order
from collector.store import runs as run_rows
from collector.store import shots as shot_rows
from collector.store.tables import alarms, limits, runs, shots

LONG_ENOUGH = 300  # steady shots
MOST_LATER = 3_000  # shots of later runs that a proposal is tried on


@dataclass(frozen=True, slots=True, kw_only=True)
class RunToStudy:
    """One run in the list, with its number of steady shots."""

    id: int
    name: str
    mold: str | None
    blend: str | None
    opened_at: datetime
    closed_at: datetime | None
    steady: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Tried:
    """Steady shots that a proposal is tried on: one run, in the order in which the charts would see them."""

    run: str
    later: bool
    frame: pd.DataFrame


def runs_to_study(conn: Connection, press_id: int, *, most: int = 60) -> list[RunToStudy]:
    """The newest runs of a press with 25 steady shots or more, newest first."""
    columns = (runs.c.id, runs.c.name, runs.c.mold, runs.c.blend, runs.c.opened_at, runs.c.closed_at)
    steady = sa.func.count(shots.c.id)
    query = (
        sa.select(*columns, steady.label("steady"))
        .join(shots, shots.c.run_id == runs.c.id)
        .where(runs.c.press_id == press_id, shots.c.phase.in_(STEADY))
        .group_by(*columns)
        .having(steady >= SMALLEST)
        .order_by(runs.c.opened_at.desc())
        .limit(most)
    )
    return [RunToStudy(**row) for row in conn.execute(query).mappings()]


def soundest(found: Sequence[RunToStudy]) -> int:
    """Place of the run to begin with: the newest one that is over and long enough; else the newest."""
    over = (place for place, run in enumerate(found) if run.closed_at and run.steady >= LONG_ENOUGH)
    return next(over, 0)


def newest_shot(conn: Connection, press_id: int) -> int:
    """Id of the newest shot of a press; a study looks no further than the one there was when it was made."""
    query = sa.select(sa.func.max(shots.c.id)).where(shots.c.press_id == press_id)
    return int(conn.execute(query).scalar_one() or 0)


def alarms_of(conn: Connection, run_id: int) -> int:
    """How many alarms began in a run: their shots are part of its study."""
    query = sa.select(sa.func.count()).select_from(alarms).where(alarms.c.run_id == run_id)
    return int(conn.execute(query).scalar_one())


def later_runs(conn: Connection, steady: Steady, until_shot_id: int) -> list[Tried]:
    """Steady shots of the runs after the one that was studied, in the same context, oldest first."""
    after = sa.select(runs.c.opened_at).where(runs.c.id == steady.run_id).scalar_subquery()
    query = sa.select(runs.c.id, runs.c.name).where(
        runs.c.press_id == steady.press_id, runs.c.opened_at > after
    )
    found: list[Tried] = []
    left = MOST_LATER
    for row in conn.execute(query.order_by(runs.c.opened_at)).all():
        if left <= 0 or run_rows.by_id(conn, row.id).context() != steady.context:
            continue
        frame = shot_rows.values(conn, run_id=row.id, keys=steady.keys, phases=STEADY)
        frame = in_chart_order(frame[frame["id"] <= until_shot_id]).head(left)
        left -= len(frame)
        if len(frame):
            found.append(Tried(run=row.name, later=True, frame=frame))
    return found


def versions(conn: Connection, press_id: int) -> Sequence[Row[*tuple[Any, ...]]]:
    """Every version of limits of a press, newest first, with the first shot that was judged by it.

    Columns: those of `limits`, then counter, began_at and run of that shot.
    """
    first, of_first = shots.alias(), runs.alias()
    query = (
        sa.select(limits, first.c.counter, first.c.ended_at.label("began_at"), of_first.c.name.label("run"))
        .join(first, first.c.id == limits.c.from_shot_id, isouter=True)
        .join(of_first, of_first.c.id == first.c.run_id, isouter=True)
        .where(limits.c.press_id == press_id)
        .order_by(limits.c.at.desc(), limits.c.id.desc())
    )
    return conn.execute(query).all()


def in_force(
    rows: Sequence[Row[*tuple[Any, ...]]], steady: Steady
) -> dict[str, Row[*tuple[Any, ...]]]:
    """Of the versions of a press, those that hold for what was studied: approved ones, else the run's own."""
    mine = [row for row in rows if row.context == steady.context and row.retired_at is None]
    own = {row.key: row for row in mine if row.run_id == steady.run_id}
    return own | {row.key: row for row in reversed(mine) if row.approved_by is not None}


def run_names(conn: Connection, press_id: int) -> dict[int, str]:
    """Names of the runs of a press, by id."""
    rows = conn.execute(sa.select(runs.c.id, runs.c.name).where(runs.c.press_id == press_id))
    return {row.id: row.name for row in rows}


def shot_counters(conn: Connection, ids: Sequence[int]) -> dict[int, int | None]:
    """Counters of shots by id."""
    rows = conn.execute(sa.select(shots.c.id, shots.c.counter).where(shots.c.id.in_(ids)))
    return {row.id: row.counter for row in rows}
