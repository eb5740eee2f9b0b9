"""Which alarms were opened, noted in the journal within seconds: an open one that is deleted is missed.

The daily seal covers alarms that are closed, since open ones change all day. What never changes of one (the
columns `OPENED` of :mod:`collector.proof.rows`) has its digest in the journal from its opening on, alarm by
alarm, so that a finding can name it. Not noted in the transaction of the shots: presses would wait for each
other at the journal. One that is deleted before the job ran once leaves no trace here.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

import sqlalchemy as sa

from collector.clock import ServiceClock
from collector.people.person import SERVICE
from collector.proof import rows
from collector.store import database, journal, settled
from collector.store.canonical import Json
from collector.store.tables import alarms
from collector.store.tables import journal as entries

ACTION = "alarms opened"


def note(engine: sa.Engine, *, clock: ServiceClock) -> int:
    """Note the alarms that were opened since the last time; how many there were."""
    with database.read(engine) as conn:
        if _newest(conn) <= _noted_to(conn):
            return 0
    with settled.read(engine, (alarms,)) as conn:
        after = _noted_to(conn)
        opened: dict[str, Json] = {str(key): digest.hex() for key, digest in rows.opened_after(conn, after)}
    if opened:
        noted: Json = {"to": max(map(int, opened)), "alarms": opened}
        with database.write(engine) as conn:
            journal.append(
                conn, at=clock.now(), wall_at=clock.wall(), who=SERVICE, action=ACTION, subject="store",
                after=noted,
            )  # fmt: skip
    return len(opened)


def findings(conn: sa.Connection) -> Iterator[str]:
    """Alarms that were noted and are not there, or are others now; one sentence each."""
    now = dict(rows.opened_after(conn, 0))
    query = sa.select(entries.c.id, entries.c.after).where(entries.c.action == ACTION).order_by(entries.c.id)
    for entry, after in conn.execute(query).all():
        try:
            yield from _compared(entry, after["alarms"], now)
        except (KeyError, TypeError, ValueError, AttributeError) as error:
            yield f"entry {entry} of the journal notes no alarms any more: {error} is of another kind"


def _compared(entry: int, noted: Mapping[str, str], now: Mapping[int, bytes]) -> Iterator[str]:
    for number, digest in noted.items():
        found = now.get(int(number))
        if found is None:
            yield f"alarm {number}, whose opening entry {entry} of the journal tells of, is gone"
        elif found.hex() != digest:
            yield f"alarm {number} is not the one whose opening entry {entry} of the journal tells of"


def _noted_to(conn: sa.Connection) -> int:
    newest = sa.select(entries.c.after).where(entries.c.action == ACTION).order_by(entries.c.id.desc())
    found: Mapping[str, Any] | None = conn.execute(newest.limit(1)).scalar()
    return 0 if found is None else int(found["to"])


def _newest(conn: sa.Connection) -> int:
    return conn.execute(sa.select(sa.func.max(alarms.c.id))).scalar() or 0
