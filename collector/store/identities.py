"""Which stored shots have the counter, or the time, that a message names."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from datetime import datetime, timedelta
from typing import NamedTuple

import sqlalchemy as sa

from collector.contract.shot import Shot
from collector.identity import Stored
from collector.store.archives import values_moved
from collector.store.tables import runs, shots
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


def same_stretch(epoch: int, other: int) -> bool:
    """Whether two epochs are both of the press, or both of the same run of the past."""
    return epoch // PAST_EPOCHS == other // PAST_EPOCHS


def epoch_near(conn: sa.Connection, press_id: int, shot: Shot) -> int | None:
    """The epoch of the stored shot made next to one, of the run that it names if it names any."""
    c = shots.c
    query = sa.select(c.epoch).where(c.press_id == press_id)
    if shot.run is not None:
        query = query.join(runs, runs.c.id == c.run_id).where(runs.c.name == shot.run)
    before = query.where(c.ended_at <= shot.ended_at).order_by(c.ended_at.desc())
    after = query.where(c.ended_at > shot.ended_at).order_by(c.ended_at)
    found = (conn.execute(each.limit(1)).scalar() for each in (before, after))
    return next((each for each in found if each is not None), None)


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


class Kept(NamedTuple):
    """A stored shot with what it says."""

    shot_id: int
    counter: int | None
    ended_at: datetime
    values: Mapping[str, float]
    setpoints: Mapping[str, float]


def kept_at(conn: sa.Connection, press_id: int, times: Collection[datetime]) -> list[Kept]:
    """The shots that ended at these times and whose values are not in a file."""
    c = shots.c
    query = sa.select(c.id, c.counter, c.ended_at, c.characteristics, c.setpoints)
    query = query.where(c.press_id == press_id, c.ended_at.in_(times), ~values_moved())
    return [
        Kept(row.id, row.counter, row.ended_at, row.characteristics, row.setpoints or {})
        for row in conn.execute(query)
    ]


class Following(NamedTuple):
    """The shot that was made next, and how its run came to be."""

    epoch: int
    counter: int | None
    ended_at: datetime
    opened_by: str


def following(conn: sa.Connection, press_id: int, ended_at: datetime) -> Following | None:
    """The stored shot of a run that a press made next after a time."""
    c = shots.c
    query = sa.select(c.epoch, c.counter, c.ended_at, runs.c.opened_by).join(runs, runs.c.id == c.run_id)
    query = query.where(c.press_id == press_id, c.ended_at > ended_at).order_by(c.ended_at).limit(1)
    row = conn.execute(query).one_or_none()
    return None if row is None else Following(*row)


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
