"""The service clock's two anchors and its speed, so that floor time goes on after a restart."""

from __future__ import annotations

import sqlalchemy as sa

from collector.clock import ServiceClock
from collector.store.tables import clocks
from collector.store.upsert import insert_into

_ONLY = 1


def load(conn: sa.Connection) -> ServiceClock | None:
    """The clock that was saved, running on real time; None in a new store."""
    row = conn.execute(sa.select(clocks).where(clocks.c.id == _ONLY)).one_or_none()
    if row is None:
        return None
    return ServiceClock(wall_anchor=row.wall_anchor, service_anchor=row.service_anchor, speed=row.speed)


def save(conn: sa.Connection, clock: ServiceClock) -> None:
    """Keep a clock; it takes the place of the one before."""
    kept = {"wall_anchor": clock.wall_anchor, "service_anchor": clock.service_anchor, "speed": clock.speed}
    statement = insert_into(conn, clocks).values(id=_ONLY, **kept)
    conn.execute(statement.on_conflict_do_update(index_elements=["id"], set_=kept))
