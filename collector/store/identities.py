"""Which stored shots have the counter, or the time, that a message names."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta

import sqlalchemy as sa

from collector.contract.shot import Shot
from collector.identity import Stored
from collector.store.tables import shots
from collector.store.types import MICROSECOND

# A run of the past gets a stretch of epochs of its own, before all others; none has as many counter restarts.
PAST_EPOCHS = 10_000

_BELOW_ALL = -(2**31)
_NEXT = sa.select(sa.func.min(shots.c.epoch)).where(
    shots.c.press_id == sa.bindparam("press_id"), shots.c.epoch > sa.bindparam("above")
)


def epochs(conn: sa.Connection, press_id: int) -> list[int]:
    """The epochs of a press, rising; one look into the index each, however many shots they have."""
    found: list[int] = []
    above = _BELOW_ALL
    while (epoch := conn.execute(_NEXT, {"press_id": press_id, "above": above}).scalar()) is not None:
        found.append(epoch)
        above = epoch
    return found


def present(conn: sa.Connection, press_id: int) -> int:
    """The first epoch that is no run of the past's."""
    newest = conn.execute(sa.select(sa.func.max(shots.c.epoch)).where(shots.c.press_id == press_id)).scalar()
    return (newest or 0) // PAST_EPOCHS * PAST_EPOCHS


def alike(
    conn: sa.Connection, press_id: int, shot: Shot, *, among: Iterable[int], apart: timedelta
) -> list[Stored]:
    """The stored shots of this counter, one an epoch; without a counter, of this time."""
    c = shots.c
    same: tuple[sa.ColumnElement[bool], ...] = (c.epoch.in_(among), c.counter == shot.counter)
    if shot.counter is None:
        same = (c.ended_at > shot.ended_at - apart, c.ended_at < shot.ended_at + apart)
    query = sa.select(c.id, c.epoch, c.ended_at).where(c.press_id == press_id, *same)
    return [Stored(row.id, row.epoch, row.ended_at) for row in conn.execute(query)]


def free_time(conn: sa.Connection, press_id: int, ended_at: datetime) -> datetime:
    """A time at or microseconds after this one that no shot without a counter has."""
    c = shots.c
    while conn.execute(
        sa.select(c.id).where(c.press_id == press_id, c.counter.is_(None), c.ended_at == ended_at)
    ).first():
        ended_at += MICROSECOND
    return ended_at


def nearest(found: Iterable[Stored], ended_at: datetime) -> Stored | None:
    """Of these, the one that ended nearest to a time."""
    return min(found, key=lambda each: abs(each.ended_at - ended_at), default=None)
