"""What was done to a press or its mold, on the time axis, so that a change can be seen beside its cause."""

from __future__ import annotations

from datetime import datetime, timedelta

import sqlalchemy as sa

from collector.clock import ServiceClock
from collector.errors import NotAllowed
from collector.store import events, journal
from collector.store.database import write
from collector.store.tables import presses

KIND = "maintenance"
LONGEST = 200
OLDEST = timedelta(days=90)


def enter(
    engine: sa.Engine,
    press_id: int,
    *,
    what: str,
    at: datetime,
    who: str,
    clock: ServiceClock,
    note: str | None = None,
) -> None:
    """Enter that something was cleaned, changed or repaired. It moves no limits and restarts no chart.

    Parameters
    ----------
    engine : Engine
    press_id : int
    what : str
        In a few words, such as "check ring changed".
    at : datetime
        When, aware, floor time.
    who : str
    clock : ServiceClock
    note : str, optional
        More words.

    Raises
    ------
    NotAllowed
        Nobody or nothing is named, there is no such press, or the time is to come or long past.
    """
    if not who.strip():
        raise NotAllowed("say who enters this: choose a name")
    if not what.strip() or len(what) > LONGEST:
        raise NotAllowed(f"say what was done, in 1 to {LONGEST} letters")
    now = clock.now()
    if not now - OLDEST <= at <= now:
        raise NotAllowed(f"the time must lie within the last {OLDEST.days} days")
    with write(engine) as conn:
        name = conn.execute(sa.select(presses.c.name).where(presses.c.id == press_id)).scalar()
        if name is None:
            raise NotAllowed("there is no such press; reload the page")
        row = events.row(
            press_id, KIND, at=at, source="form", new=what.strip(), note=(note or "").strip() or None
        )
        events.insert(conn, [row])
        journal.append(
            conn, at=now, wall_at=clock.wall(), who=who, action="maintenance entered",
            subject=f"press {name}", after={"what": what.strip(), "at": at.isoformat()}, why=row["note"],
        )  # fmt: skip
