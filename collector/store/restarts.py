"""Chart restarts that a person asked for and the pipeline carries out."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import sqlalchemy as sa

from collector.store.tables import chart_restarts


@dataclass(frozen=True, slots=True)
class Restart:
    """Who wants which chart (None: all of the press) to start anew, and why."""

    key: str | None
    who: str
    why: str


_ASKED = (  # looked for before every batch
    sa.select(chart_restarts.c.id, chart_restarts.c.key, chart_restarts.c.who, chart_restarts.c.why)
    .where(chart_restarts.c.press_id == sa.bindparam("press_id"), chart_restarts.c.applied_at.is_(None))
    .order_by(chart_restarts.c.id)
)


def ask(
    conn: sa.Connection, press_id: int, *, at: datetime, who: str, why: str, key: str | None = None
) -> None:
    """Ask for a restart; it happens before the next shot."""
    conn.execute(sa.insert(chart_restarts).values(press_id=press_id, key=key, at=at, who=who, why=why))


def take(conn: sa.Connection, press_id: int, *, at: datetime) -> list[Restart]:
    """The restarts not carried out yet, oldest first; they count as carried out from now on."""
    c = chart_restarts.c
    rows = conn.execute(_ASKED, {"press_id": press_id}).all()
    if rows:
        ids = [row.id for row in rows]
        conn.execute(sa.update(chart_restarts).where(c.id.in_(ids)).values(applied_at=at))
    return [Restart(row.key, row.who, row.why) for row in rows]
