"""Gaugings that nobody has held against their tolerance yet, and the readings of a run that count."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import sqlalchemy as sa

from collector.contract import quantities
from collector.gauging.outside import Reading
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
    return [newest[shot_id] for shot_id in sorted(newest)]


def stretch(
    conn: sa.Connection, run_id: int, *, after: int | None, before: int | None
) -> tuple[int, int | None]:
    """First and last shot between two discs of a run, to the ends of their trays, which people carry away.

    Returns
    -------
    (int, int or None)
        None for the last while the run goes on and no disc bounds it.
    """
    c = shots.c
    inside = [c.run_id == run_id]
    if after is not None:
        inside.append(c.id > after)
    if before is not None:
        inside.append(c.id < before)
    first, last = conn.execute(sa.select(sa.func.min(c.id), sa.func.max(c.id)).where(*inside)).one()
    first, last = _tray_end(conn, run_id, first, sa.func.min), _tray_end(conn, run_id, last, sa.func.max)
    going_on = conn.execute(sa.select(runs.c.closed_at).where(runs.c.id == run_id)).scalar() is None
    return first, None if before is None and going_on else last


def end_of(conn: sa.Connection, run_id: int) -> int | None:
    """Last shot of a run that is over; None while it goes on."""
    query = sa.select(sa.func.max(shots.c.id)).join(runs, runs.c.id == shots.c.run_id)
    last = conn.execute(query.where(runs.c.id == run_id, runs.c.closed_at.is_not(None))).scalar()
    return None if last is None else int(last)


def _tray_end(conn: sa.Connection, run_id: int, shot_id: int, end: Callable[..., sa.Function[int]]) -> int:
    c = shots.c
    tray = conn.execute(sa.select(c.tray).where(c.id == shot_id)).scalar()
    if tray is None:
        return shot_id
    return int(conn.execute(sa.select(end(c.id)).where(c.run_id == run_id, c.tray == tray)).scalar_one())

