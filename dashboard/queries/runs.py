"""The runs there are, newest first, with what speaks for looking at one."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from collector.store import places
from collector.store.archives import archived_runs
from collector.store.tables import alarm_steps, alarms, gaugings, holds, journal, presses, runs, shots

MOST = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class RunLine:
    """One run in a list.

    `held` counts the discs that were ever put on hold, `waiting` those that still are. `archived` says that
    its values are in a file only.
    """

    id: int
    name: str
    press: str
    mold: str | None
    opened_at: datetime
    closed_at: datetime | None
    alarms: int
    held: int
    waiting: int
    archived: bool = False


def newest(conn: Connection, *, most: int = MOST) -> list[RunLine]:
    """Runs that have shots, newest first."""
    query = (
        sa.select(runs, presses.c.name.label("press"))
        .join(presses, presses.c.id == runs.c.press_id)
        .where(sa.exists().where(shots.c.run_id == runs.c.id))
        .order_by(runs.c.opened_at.desc(), runs.c.id.desc())
        .limit(most)
    )
    rows = conn.execute(query).all()
    ids = [row.id for row in rows]
    archived = set(conn.execute(archived_runs()).scalars())
    alarmed, held, waiting = _alarms(conn, ids), _held(conn, ids), _held(conn, ids, state="open")
    return [
        RunLine(
            id=row.id, name=row.name, press=row.press, mold=row.mold, opened_at=row.opened_at,
            closed_at=row.closed_at, alarms=alarmed.get(row.id, 0), held=held.get(row.id, 0),
            waiting=waiting.get(row.id, 0), archived=row.id in archived,
        )
        for row in rows
    ]  # fmt: skip


def fingerprint(conn: Connection, run_id: int) -> tuple[object, ...]:
    """Changes whenever there is new evidence about a run."""
    newest_of = (
        sa.select(sa.func.max(shots.c.id)).where(shots.c.run_id == run_id),
        sa.select(sa.func.max(gaugings.c.id)),
        sa.select(sa.func.max(alarm_steps.c.id)),
        sa.select(sa.func.max(journal.c.id)),
        sa.select(runs.c.closed_at).where(runs.c.id == run_id),
    )
    return tuple(conn.execute(query).scalar() for query in newest_of)


def _alarms(conn: Connection, ids: list[int]) -> dict[int, int]:
    query = sa.select(alarms.c.run_id, sa.func.count()).where(alarms.c.run_id.in_(ids))
    return {int(run_id): n for run_id, n in conn.execute(query.group_by(alarms.c.run_id))}


def _held(conn: Connection, ids: list[int], *, state: str | None = None) -> dict[int, int]:
    """Discs of each run inside a hold; one that lies in two holds counts once."""
    first, last = shots.alias("first"), shots.alias("last")
    query = (
        sa.select(holds.c.run_id, sa.func.count(shots.c.id.distinct()))
        .join(first, first.c.id == holds.c.from_shot_id)
        .outerjoin(last, last.c.id == holds.c.to_shot_id)
        .join(shots, shots.c.run_id == holds.c.run_id)
        .where(holds.c.run_id.in_(ids), places.between(shots, first, last))
        .group_by(holds.c.run_id)
    )
    if state is not None:
        query = query.where(holds.c.state == state)
    return {int(run_id): n for run_id, n in conn.execute(query)}
