"""When a process last said that it is alive; a screen tells from it that the collector stopped."""

from __future__ import annotations

from datetime import datetime
from typing import Any

import sqlalchemy as sa

from collector.store.tables import heartbeats

COLLECTOR = "collector"


def beat(
    conn: sa.Connection, name: str, *, wall: datetime, now: datetime, detail: dict[str, Any] | None = None
) -> None:
    """Note that a process is alive."""
    row = {"wall_at": wall, "at": now, "detail": detail}
    done = conn.execute(sa.update(heartbeats).where(heartbeats.c.name == name).values(**row))
    if done.rowcount == 0:
        conn.execute(sa.insert(heartbeats).values(name=name, **row))


def last(conn: sa.Connection, name: str) -> tuple[datetime, datetime] | None:
    """Wall and service time of the last sign of life."""
    c = heartbeats.c
    row = conn.execute(sa.select(c.wall_at, c.at).where(c.name == name)).one_or_none()
    return None if row is None else (row.wall_at, row.at)
