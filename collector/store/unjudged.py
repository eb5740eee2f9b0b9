"""Gaugings that nobody has held against their tolerance yet, and the readings of a run that count."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa

from collector.contract import quantities
from collector.gauging.outside import Reading
from collector.store import places
from collector.store.tables import gaugings, runs, shots

AT_ONCE = 2_000  # gaugings in one transaction


@dataclass(frozen=True, slots=True)
class Gauged:
    """A run with new gaugings of one characteristic."""

    press_id: int
    run_id: int
    mold: str | None
    characteristic: str
    unit: str


def take(conn: sa.Connection) -> list[Gauged]:
    """What has new gaugings, each once; they count as judged from now on."""
    c = gaugings.c
    new = (c.judged.is_(None), c.shot_id.is_not(None))
    ids = conn.execute(sa.select(c.id).where(*new).order_by(c.id).limit(AT_ONCE)).scalars().all()
    if not ids:
        return []
    inside = c.id.between(ids[0], ids[-1])
    query = (
        sa.select(shots.c.press_id, shots.c.run_id, runs.c.mold, c.characteristic, c.unit)
        .select_from(gaugings.join(shots, shots.c.id == c.shot_id).join(runs, runs.c.id == shots.c.run_id))
        .where(*new, inside)
        .distinct()
    )
    found = [Gauged(*row) for row in conn.execute(query)]
    conn.execute(sa.update(gaugings).where(*new, inside).values(judged=True))
    return sorted(found, key=lambda each: (each.press_id, each.run_id, each.characteristic))


def readings(conn: sa.Connection, run_id: int, characteristic: str) -> list[Reading]:
    """The newest final reading of each disc of a run, in the order of the shots.

    One whose age nobody knows counts; one that was taken too early does not.
    """
    c = gaugings.c
    quantity = quantities.find(characteristic)
    set_time_h = 0.0 if quantity is None else quantity.set_time_h
    query = (
        sa.select(c.id, c.shot_id, c.value)
        .join(shots, shots.c.id == c.shot_id)
        .where(
            shots.c.run_id == run_id, c.characteristic == characteristic, c.withdrawn_at.is_(None),
            sa.or_(c.age_h.is_(None), c.age_h >= set_time_h),
        )
        .order_by(c.id)
    )
    newest = {row.shot_id: Reading(row.id, row.shot_id, row.value) for row in conn.execute(query)}
    lie = places.of(conn, newest)
    return [newest[each.shot_id] for each in sorted(lie.values(), key=places.order)]


def stretch(
    conn: sa.Connection, run_id: int, *, after: int | None, before: int | None
) -> tuple[int, int | None]:
    """First and last shot between two discs of a run, to the ends of their trays, which people carry away.

    Returns
    -------
    (int, int or None)
        None for the last while the run goes on and no disc bounds it.
    """
    run = conn.execute(sa.select(runs.c.press_id, runs.c.closed_at).where(runs.c.id == run_id)).one()
    ends = places.of(conn, (after, before))
    inside = places.within(run.press_id, ends.get(after or 0), ends.get(before or 0))
    between = (shots.c.run_id == run_id, inside, shots.c.id.not_in(list(ends)))
    first, last = _end(conn, places.OLDEST_FIRST, *between), _end(conn, places.NEWEST_FIRST, *between)
    assert first is not None  # a disc between them was gauged
    assert last is not None
    first = _tray_end(conn, run_id, first, places.OLDEST_FIRST)
    last = _tray_end(conn, run_id, last, places.NEWEST_FIRST)
    return first, None if before is None and run.closed_at is None else last


def end_of(conn: sa.Connection, run_id: int) -> int | None:
    """Last shot of a run that is over; None while it goes on."""
    over = sa.select(runs.c.id).where(runs.c.id == run_id, runs.c.closed_at.is_not(None))
    return _end(conn, places.NEWEST_FIRST, shots.c.run_id.in_(over))


def _tray_end(conn: sa.Connection, run_id: int, shot_id: int, order: Sequence[Any]) -> int:
    """The first or the last shot of the tray of a shot, within the run."""
    tray = conn.execute(sa.select(shots.c.tray).where(shots.c.id == shot_id)).scalar()
    if tray is None:
        return shot_id
    return _end(conn, order, shots.c.run_id == run_id, shots.c.tray == tray) or shot_id


def _end(conn: sa.Connection, order: Sequence[Any], *where: sa.ColumnElement[bool]) -> int | None:
    return conn.execute(sa.select(shots.c.id).where(*where).order_by(*order).limit(1)).scalar()
