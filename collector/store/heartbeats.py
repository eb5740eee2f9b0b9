"""When a process last said that it is alive; a screen tells from it that the collector stopped."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from collector.store.tables import heartbeats

COLLECTOR = "collector"


@dataclass(frozen=True, slots=True)
class Beat:
    """A sign of life: wall and service time, and what the process said of itself."""

    wall_at: datetime
    at: datetime
    detail: dict[str, Any]


def beat(
    conn: sa.Connection, name: str, *, wall: datetime, now: datetime, detail: dict[str, Any] | None = None
) -> None:
    """Note that a process is alive."""
    row = {"wall_at": wall, "at": now, "detail": detail}
    done = conn.execute(sa.update(heartbeats).where(heartbeats.c.name == name).values(**row))
    if done.rowcount == 0:
        conn.execute(sa.insert(heartbeats).values(name=name, **row))


def last(conn: sa.Connection, name: str) -> Beat | None:
    """The last sign of life of a process, None if there never was one."""
    c = heartbeats.c
    row = conn.execute(sa.select(c.wall_at, c.at, c.detail).where(c.name == name)).one_or_none()
    return None if row is None else Beat(row.wall_at, row.at, row.detail or {})
