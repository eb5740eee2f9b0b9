"""When a process last said that it is alive; a screen tells from it that the collector stopped."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import sqlalchemy as sa

from collector.store.tables import heartbeats
from collector.store.upsert import insert_into

COLLECTOR = "collector"  # whichever collector spoke last
STOPPED = "stopped_at"
FORGOTTEN_AFTER = timedelta(hours=1)


@dataclass(frozen=True, slots=True)
class Beat:
    """A sign of life: wall and service time, and what the process said of itself."""

    wall_at: datetime
    at: datetime
    detail: dict[str, Any]

    @property
    def stopped(self) -> bool:
        """Whether it was the last word of a process that was told to end."""
        return STOPPED in self.detail


def beat(
    conn: sa.Connection, name: str, *, wall: datetime, now: datetime, detail: dict[str, Any] | None = None
) -> None:
    """Note that a process is alive."""
    row = {"wall_at": wall, "at": now, "detail": detail}
    done = conn.execute(sa.update(heartbeats).where(heartbeats.c.name == name).values(**row))
    if done.rowcount == 0:  # another collector may be about to add the same one
        conn.execute(insert_into(conn, heartbeats).values(name=name, **row).on_conflict_do_nothing())


def last(conn: sa.Connection, name: str) -> Beat | None:
    """The last sign of life of a process, None if there never was one."""
    c = heartbeats.c
    row = conn.execute(sa.select(c.wall_at, c.at, c.detail).where(c.name == name)).one_or_none()
    return None if row is None else Beat(row.wall_at, row.at, row.detail or {})


def beat_of(
    conn: sa.Connection, collector: str, *, wall: datetime, now: datetime, detail: dict[str, Any]
) -> None:
    """Note that one of several collectors is alive; those that ended long ago are forgotten."""
    beat(conn, COLLECTOR, wall=wall, now=now, detail=detail)
    beat(conn, f"{COLLECTOR} {collector}", wall=wall, now=now, detail=detail)
    gone = heartbeats.c.name.startswith(f"{COLLECTOR} "), heartbeats.c.wall_at < wall - FORGOTTEN_AFTER
    conn.execute(sa.delete(heartbeats).where(*gone))


def stop_of(conn: sa.Connection, collector: str, *, wall: datetime) -> None:
    """Note that one of several collectors ends as it was told to; one that only waited has said nothing."""
    own = last(conn, f"{COLLECTOR} {collector}")
    if own is None:
        return
    its = heartbeats.c.name.in_((COLLECTOR, f"{COLLECTOR} {collector}")), heartbeats.c.wall_at == own.wall_at
    detail = own.detail | {STOPPED: wall.isoformat()}
    conn.execute(sa.update(heartbeats).where(*its).values(detail=detail))


def of_collectors(conn: sa.Connection, *, wall: datetime) -> dict[str, Beat]:
    """The last sign of life of each collector of the last hour, by its name."""
    c = heartbeats.c
    own = c.name.startswith(f"{COLLECTOR} "), c.wall_at >= wall - FORGOTTEN_AFTER
    query = sa.select(c.name, c.wall_at, c.at, c.detail).where(*own)
    return {
        row.name.removeprefix(f"{COLLECTOR} "): Beat(row.wall_at, row.at, row.detail or {})
        for row in conn.execute(query.order_by(c.name))
    }
