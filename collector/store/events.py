"""What happened on a press's time axis besides shots: setpoints, lots, trays, stops, restarts, gaps."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any, Literal

import sqlalchemy as sa

from collector.store.tables import events, runs


def row(
    press_id: int,
    kind: str,
    *,
    at: datetime,
    source: str,
    shot_id: int | None = None,
    key: str | None = None,
    old: Any = None,
    new: Any = None,
    note: str | None = None,
) -> dict[str, Any]:
    """One event, ready for :func:`insert`; see the `events` table."""
    return {
        "press_id": press_id, "kind": kind, "at": at, "source": source, "shot_id": shot_id,
        "key": key, "old": old, "new": new, "note": note,
    }


def insert(conn: sa.Connection, rows: Sequence[dict[str, Any]]) -> None:
    """Store events in the order given."""
    if rows:
        conn.execute(sa.insert(events), list(rows))


def adopt(conn: sa.Connection, press_id: int, shot_id: int) -> list[tuple[str, str | None, Any]]:
    """Give a press's events that had no shot after them their first shot.

    Returns
    -------
    list of (str, str or None, object)
        Kind, key and new value of each, oldest first.
    """
    c = events.c
    orphaned = (c.press_id == press_id, c.shot_id.is_(None))
    rows = conn.execute(sa.select(c.kind, c.key, c.new).where(*orphaned).order_by(c.id)).all()
    conn.execute(sa.update(events).where(*orphaned).values(shot_id=shot_id))
    return [(row.kind, row.key, row.new) for row in rows]


def without_shot(conn: sa.Connection, press_id: int) -> list[tuple[str, str | None]]:
    """Kind and key of a press's events that no shot has followed yet, oldest first."""
    c = events.c
    waiting = sa.select(c.kind, c.key).where(c.press_id == press_id, c.shot_id.is_(None)).order_by(c.id)
    return [(row.kind, row.key) for row in conn.execute(waiting)]


def is_known(conn: sa.Connection, press_id: int, kind: str, *, at: datetime, new: Any) -> bool:
    """Whether this very event is stored: the message that told it came again."""
    c = events.c
    found = conn.execute(sa.select(c.new).where(c.press_id == press_id, c.at == at, c.kind == kind)).scalars()
    return new in list(found)


def taken_over(name: str) -> str:
    """What the opening of a person's run says where the press goes on naming another one."""
    return f"opened; takes the shots of {name}, which the press names"


def takes_over(conn: sa.Connection, press_id: int, run_id: int, name: str) -> bool:
    """Whether a run was opened over the one of this name, which its press went on naming."""
    c = events.c
    query = sa.select(c.new).join(runs, runs.c.id == run_id)
    query = query.where(c.press_id == press_id, c.kind == "run", c.at == runs.c.opened_at)
    return conn.execute(query.where(c.note == taken_over(name)).limit(1)).first() is not None


def last_lot(
    conn: sa.Connection, press_id: int, run_id: int, *, kind: Literal["lot", "color"] = "lot"
) -> str | None:
    """The lot (or color) that the newest event of a run named, None if its first one is still in force."""
    lot: str | None = conn.execute(
        sa.select(events.c.new)
        .join(runs, runs.c.id == run_id)
        .where(events.c.press_id == press_id, events.c.kind == kind, events.c.at >= runs.c.opened_at)
        .order_by(events.c.id.desc())
        .limit(1)
    ).scalar_one_or_none()
    return lot
