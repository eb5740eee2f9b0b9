"""Where a shot lies among those of its press: by epoch and counter, and by time where one has no counter.

A late shot has the newest row number but not the newest place, so no stretch of shots is told by row numbers.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime
from functools import cmp_to_key
from typing import Any

import sqlalchemy as sa

from collector.store.tables import shots

_c = shots.c
OLDEST_FIRST = (_c.epoch, _c.counter.nulls_last(), _c.ended_at, _c.id)
NEWEST_FIRST = (_c.epoch.desc(), _c.counter.desc().nulls_last(), _c.ended_at.desc(), _c.id.desc())
_PLACE = sa.select(_c.id, _c.epoch, _c.counter, _c.ended_at)


@dataclass(frozen=True, slots=True)
class Place:
    """A stored shot and where it lies."""

    shot_id: int
    epoch: int
    counter: int | None
    ended_at: datetime


def of(conn: sa.Connection, shot_ids: Collection[int | None]) -> dict[int, Place]:
    """Where these shots lie."""
    ids = {each for each in shot_ids if each is not None}
    return {row.id: Place(*row) for row in conn.execute(_PLACE.where(_c.id.in_(ids)))}


def _compare(one: Place, other: Place) -> int:
    if one.epoch != other.epoch:
        return one.epoch - other.epoch
    if one.counter is not None and other.counter is not None:
        return one.counter - other.counter
    mine, others = (one.ended_at, one.shot_id), (other.ended_at, other.shot_id)
    return (mine > others) - (mine < others)


order = cmp_to_key(_compare)  # the key to sort places by, and to compare two: order(one) < order(other)


def within(press_id: int, first: Place | None, last: Place | None) -> sa.ColumnElement[bool]:
    """Condition on `shots`: of a press, from one place to another, both included; None: without an end.

    Each part of it is found by an index; PostgreSQL misjudges how few rows a comparison of pairs leaves.
    """
    own = _c.press_id == press_id
    counted = (sa.and_(own, _c.counter.is_not(None), each) for each in _parts(first, last))
    epoch = _c.epoch + 0  # as it stands, SQLite would rather go through the epoch than through the times
    timed = [own, _c.counter.is_(None)]
    if first is not None:
        timed += [epoch >= first.epoch, _c.ended_at >= first.ended_at]
    if last is not None:
        timed += [epoch <= last.epoch, _c.ended_at <= last.ended_at]
    return sa.or_(*counted, sa.and_(*timed))


def _parts(first: Place | None, last: Place | None) -> list[sa.ColumnElement[bool]]:
    """By epochs: the first one from a shot on, the last one up to a shot, and those between."""
    if first is not None and last is not None and first.epoch == last.epoch:
        return [sa.and_(_from(first), _to(last))]
    ends = [*([] if first is None else [_from(first)]), *([] if last is None else [_to(last)])]
    after = sa.true() if first is None else _c.epoch > first.epoch
    return [*ends, sa.and_(after, sa.true() if last is None else _c.epoch < last.epoch)]


def _from(place: Place) -> sa.ColumnElement[bool]:
    on = _c.ended_at >= place.ended_at if place.counter is None else _c.counter >= place.counter
    return sa.and_(_c.epoch == place.epoch, on)


def _to(place: Place) -> sa.ColumnElement[bool]:
    on = _c.ended_at <= place.ended_at if place.counter is None else _c.counter <= place.counter
    return sa.and_(_c.epoch == place.epoch, on)


def between(shot: Any, first: Any, last: Any) -> sa.ColumnElement[bool]:
    """The same of three aliases of `shots`, for a join; without a row in `last`: to the newest."""
    return sa.and_(_not_before(shot, first), sa.or_(last.c.id.is_(None), _not_before(last, shot)))


def _not_before(one: Any, other: Any) -> sa.ColumnElement[bool]:
    both = sa.and_(one.c.counter.is_not(None), other.c.counter.is_not(None))
    inside = sa.case((both, one.c.counter >= other.c.counter), else_=one.c.ended_at >= other.c.ended_at)
    return sa.or_(one.c.epoch > other.c.epoch, sa.and_(one.c.epoch == other.c.epoch, inside))


def newest(conn: sa.Connection, press_id: int) -> int | None:
    """The last shot of a press, None before the first."""
    own = _c.press_id == press_id
    epoch = conn.execute(sa.select(sa.func.max(_c.epoch)).where(own)).scalar()
    counted = _PLACE.where(own, _c.epoch == epoch, _c.counter.is_not(None)).order_by(_c.counter.desc())
    timed = _PLACE.where(own, _c.epoch == epoch, _c.counter.is_(None)).order_by(_c.ended_at.desc())
    found = [Place(*row) for query in (counted, timed) for row in conn.execute(query.limit(1))]
    return max(found, key=order).shot_id if found else None


def last(conn: sa.Connection, shot_ids: Collection[int]) -> int:
    """Of these shots the one made last; at least one is a shot."""
    return max(of(conn, shot_ids).values(), key=order).shot_id


def following(conn: sa.Connection, press_id: int, place: Place) -> int | None:
    """The shot after a place, None when there is none yet."""
    later = sa.select(_c.id).where(within(press_id, place, None), _c.id != place.shot_id)
    return conn.execute(later.order_by(*OLDEST_FIRST).limit(1)).scalar()
