"""Which limits judged which shots of a run: the versions that were in force then, never today's."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np
import sqlalchemy as sa

from collector.plan import charts_from_json, drawn_limits
from collector.store.tables import events, limits, runs, shots
from dashboard.audit.facts import InForce
from dashboard.audit.shot_list import ShotList
from rules.limits import Baseline


@dataclass(frozen=True, slots=True)
class _Start:
    """From this place on, these limits."""

    key: str
    limits_id: int
    place: int


def in_force(conn: sa.Connection, run: sa.Row[Any], shot_list: ShotList) -> tuple[InForce, ...]:
    """Every version of limits that judged shots of the run, by key and time.

    A version that was replaced before it judged a shot does not appear.
    """
    starts = _starts(conn, run, shot_list)
    found = []
    for key in sorted({start.key for start in starts}):
        mine = [start for start in starts if start.key == key]
        for start, stop in zip(mine, [*(s.place for s in mine[1:]), len(shot_list)], strict=True):
            if stop > start.place:
                found.append(_fact(conn, start, stop - 1))
    return tuple(found)


def charted_keys(conn: sa.Connection, run: sa.Row[Any]) -> list[str]:
    """Keys that had limits during the run."""
    return sorted({row.key for row in _rows(conn, run)})


def _rows(conn: sa.Connection, run: sa.Row[Any]) -> Sequence[sa.Row[Any]]:
    """Events that brought limits into force; those before a run's first shot name no shot."""
    of_run = sa.select(shots.c.id).where(shots.c.run_id == run.id)
    during = [events.c.shot_id.is_(None), events.c.at >= run.opened_at]
    until = run.closed_at or _next_opening(conn, run)
    if until is not None:
        during.append(events.c.at <= until)
    query = sa.select(events).where(
        events.c.press_id == run.press_id, events.c.kind == "limits",
        sa.or_(events.c.shot_id.in_(of_run), sa.and_(*during)),
    )  # fmt: skip
    return conn.execute(query.order_by(events.c.id)).all()


def _next_opening(conn: sa.Connection, run: sa.Row[Any]) -> datetime | None:
    later = (runs.c.press_id == run.press_id, runs.c.opened_at > run.opened_at)
    return conn.execute(sa.select(sa.func.min(runs.c.opened_at)).where(*later)).scalar()


def _starts(conn: sa.Connection, run: sa.Row[Any], shot_list: ShotList) -> list[_Start]:
    """Where each version took over; startup shots are judged by none."""
    if not len(shot_list.steady):
        return []
    first = int(shot_list.steady[0])
    ended = shot_list.frame["ended_at"]
    starts = []
    for row in _rows(conn, run):
        place = shot_list.place(row.shot_id)
        if place is None:
            place = int(np.searchsorted(ended, row.at)) if row.shot_id is None else first
        starts.append(_Start(row.key, int(row.new), max(place, first)))
    return sorted(starts, key=lambda start: start.place)


def _fact(conn: sa.Connection, start: _Start, last: int) -> InForce:
    row = conn.execute(sa.select(limits).where(limits.c.id == start.limits_id)).one()
    newer = sa.select(sa.func.max(limits.c.version)).where(
        limits.c.press_id == row.press_id, limits.c.context == row.context, limits.c.key == row.key,
        limits.c.approved_by.is_not(None), limits.c.id > row.id,
    )  # fmt: skip
    baseline = Baseline.from_dict(row.baseline)
    lines = drawn_limits(charts_from_json(row.charts))
    return InForce(
        limits_id=row.id, key=row.key, version=row.version, standing=row.standing,
        own=row.run_id is not None, approved_by=row.approved_by, made_at=row.at, reason=row.reason,
        baseline=baseline.to_dict(), effective_n=baseline.effective_n(),
        charts=row.charts, cost=row.cost or {},
        lines=None if lines is None else (lines.lower, lines.center, lines.upper),
        superseded=conn.execute(newer).scalar() is not None, first=start.place, last=last,
    )  # fmt: skip
