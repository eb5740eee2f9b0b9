"""The daily seal: digests of all rows that came since the last one, folded into one entry of the journal.

A fold is the SHA-256 of the rows' digests one after the other, in the order of their ids.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from datetime import datetime, timedelta
from hashlib import sha256
from typing import Any

import sqlalchemy as sa

from collector.clock import ServiceClock
from collector.people.person import SERVICE
from collector.proof import rows
from collector.store import database, journal, settled
from collector.store.tables import alarms, amendments, gaugings, shots
from collector.store.tables import journal as entries

ACTION = "seal"
EVERY = timedelta(hours=24)
NONE: dict[str, Any] = {"shots": {"to": 0}, "gaugings": {"to": 0}, "alarms": {"ids": []}}


def make(engine: sa.Engine, *, clock: ServiceClock, then: Callable[[sa.Connection], None]) -> None:
    """Seal what came since the last seal.

    Parameters
    ----------
    engine : Engine
    clock : ServiceClock
    then : callable
        What belongs into the same transaction, such as publishing the journal's new head.
    """
    # Read beforehand: presses must not wait while a long absence is folded.
    with settled.read(engine, (shots, gaugings, amendments)) as conn:
        after = _survey(conn)
    with database.write(engine) as conn:
        journal.append(
            conn,
            at=clock.now(),
            wall_at=clock.wall(),
            who=SERVICE,
            action=ACTION,
            subject="store",
            after=after,
        )
        then(conn)


def _survey(conn: sa.Connection) -> dict[str, Any]:
    before = last(conn) or NONE
    shots_from, gaugings_from = before["shots"]["to"], before["gaugings"]["to"]
    shots_to, gaugings_to = _newest(conn, shots), _newest(conn, gaugings)
    closed = _closed_since(conn)
    return {
        "shots": {
            "after": shots_from, "to": shots_to, **fold(rows.shots_between(conn, shots_from, shots_to)),
            "amendments": _newest(conn, amendments),
        },
        "gaugings": {
            "after": gaugings_from, "to": gaugings_to,
            **fold(rows.gaugings_between(conn, gaugings_from, gaugings_to)),
        },
        "alarms": {"ids": closed, **fold(rows.alarms_of(conn, closed))},
    }  # fmt: skip


def is_due(conn: sa.Connection, *, wall: datetime) -> bool:
    """Whether the last seal is a day old, or there is none."""
    query = sa.select(sa.func.max(entries.c.wall_at, type_=entries.c.wall_at.type))
    newest = conn.execute(query.where(entries.c.action == ACTION)).scalar()
    # A wall clock that was set back must not keep seals from being made.
    return newest is None or not newest <= wall < newest + EVERY


def last(conn: sa.Connection) -> Mapping[str, Any] | None:
    """What the newest seal covers."""
    query = sa.select(entries.c.after).where(entries.c.action == ACTION)
    found: Mapping[str, Any] | None = conn.execute(query.order_by(entries.c.id.desc()).limit(1)).scalar()
    return found


def every(conn: sa.Connection) -> Iterator[tuple[int, Mapping[str, Any]]]:
    """Every seal with the number of its entry, oldest first."""
    query = sa.select(entries.c.id, entries.c.after).where(entries.c.action == ACTION).order_by(entries.c.id)
    for row in conn.execute(query).all():
        yield row.id, row.after


def fold(digests: Iterable[tuple[int, bytes]]) -> dict[str, Any]:
    """How many rows, and the digest of their digests."""
    whole, count = sha256(), 0
    for _, digest in digests:
        whole.update(digest)
        count += 1
    return {"rows": count, "digest": whole.hexdigest()}


def _newest(conn: sa.Connection, table: sa.Table) -> int:
    return conn.execute(sa.select(sa.func.max(table.c.id))).scalar() or 0


def _closed_since(conn: sa.Connection) -> list[int]:
    sealed = {alarm for _, after in every(conn) for alarm in after["alarms"]["ids"]}
    closed = conn.execute(sa.select(alarms.c.id).where(alarms.c.closed_at.is_not(None)).order_by(alarms.c.id))
    return [each for each in closed.scalars() if each not in sealed]
