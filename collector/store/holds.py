"""Rows of holds, and what lies inside one: discs and trays, counted from the shots."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from collector.store import places
from collector.store.tables import hold_steps, holds, shots

OPEN, RELEASED, SORTED, SCRAPPED = "open", "released", "sorted", "scrapped"
REOPENED = "reopened"  # a step, after which the hold is open


@dataclass(frozen=True, slots=True, kw_only=True)
class HoldRow:
    """One hold; the fields are the columns of the table."""

    id: int
    press_id: int
    run_id: int | None
    alarm_id: int | None
    from_shot_id: int
    to_shot_id: int | None
    state: str
    reason: str
    opened_by: str
    opened_at: datetime
    closed_by: str | None
    closed_at: datetime | None
    note: str | None
    good_discs: int | None
    bad_discs: int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class HoldStep:
    """Something that happened to a hold; the counts are those of the decision."""

    hold_id: int
    at: datetime
    event: str
    who: str
    reason: str
    good_discs: int | None
    bad_discs: int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Extent:
    """What a stretch of shots holds: its trays in the order they were filled, and one disc a shot."""

    discs: int
    trays: tuple[str, ...]
    without_tray: int
    first_counter: int | None
    last_counter: int | None


_COLUMNS = [holds.c[field.name] for field in fields(HoldRow)]
_OF_ALARM = sa.select(*_COLUMNS).where(holds.c.alarm_id == sa.bindparam("alarm_id")).order_by(holds.c.id)
_BY_TRAY = sa.select(
    shots.c.tray,
    shots.c.epoch,
    sa.func.count().label("discs"),
    sa.func.min(shots.c.counter).label("first"),
    sa.func.max(shots.c.counter).label("last"),
    sa.func.min(shots.c.ended_at).label("began_at"),
).group_by(shots.c.tray, shots.c.epoch)


def get(conn: sa.Connection, hold_id: int) -> HoldRow | None:
    """One hold by its number, None when there is none."""
    row = conn.execute(sa.select(*_COLUMNS).where(holds.c.id == hold_id)).mappings().first()
    return None if row is None else HoldRow(**row)


def of_alarm(conn: sa.Connection, alarm_id: int) -> list[HoldRow]:
    """The holds of one alarm, oldest first."""
    return [HoldRow(**row) for row in conn.execute(_OF_ALARM, {"alarm_id": alarm_id}).mappings()]


def open_holds(conn: sa.Connection, *, press_id: int | None = None) -> list[HoldRow]:
    """Holds that nobody has released or scrapped yet, oldest first."""
    query = sa.select(*_COLUMNS).where(holds.c.state == OPEN).order_by(holds.c.id)
    if press_id is not None:
        query = query.where(holds.c.press_id == press_id)
    return [HoldRow(**row) for row in conn.execute(query).mappings()]


def decided(conn: sa.Connection, *, last: int) -> list[HoldRow]:
    """The holds decided last, newest first."""
    query = sa.select(*_COLUMNS).where(holds.c.state != OPEN)
    query = query.order_by(holds.c.closed_at.desc(), holds.c.id.desc()).limit(last)
    return [HoldRow(**row) for row in conn.execute(query).mappings()]


def open_new(conn: sa.Connection, values: Mapping[str, Any]) -> int:
    """Write a new hold with its first step, and return its number."""
    inserted = conn.execute(sa.insert(holds).values(state=OPEN, **values)).inserted_primary_key
    assert inserted is not None  # an insert of one row always has its key
    hold_id = int(inserted[0])
    add_step(
        conn, hold_id, at=values["opened_at"], event=OPEN, who=values["opened_by"], reason=values["reason"]
    )
    return hold_id


def add_step(
    conn: sa.Connection,
    hold_id: int,
    *,
    at: datetime,
    event: str,
    who: str,
    reason: str,
    good_discs: int | None = None,
    bad_discs: int | None = None,
) -> None:
    """Write what happened to a hold."""
    conn.execute(
        sa.insert(hold_steps).values(
            hold_id=hold_id, at=at, event=event, who=who, reason=reason, good_discs=good_discs,
            bad_discs=bad_discs,
        )
    )


def steps(conn: sa.Connection, hold_id: int) -> list[HoldStep]:
    """What happened to a hold, oldest first."""
    columns = [hold_steps.c[field.name] for field in fields(HoldStep)]
    query = sa.select(*columns).where(hold_steps.c.hold_id == hold_id).order_by(hold_steps.c.id)
    return [HoldStep(**row) for row in conn.execute(query).mappings()]


def tray_stretch(conn: sa.Connection, press_id: int, tray: str) -> tuple[int, int] | None:
    """First and last shot that went to a tray of a press, as it was filled last; None when none did.

    A tray is filled within one run; what lay in it in an earlier run has left the floor.
    """
    inside = (shots.c.press_id == press_id, shots.c.tray == tray)
    newest = conn.execute(
        sa.select(shots.c.id, shots.c.run_id).where(*inside).order_by(*places.NEWEST_FIRST).limit(1)
    ).first()
    if newest is None:
        return None
    same_run = shots.c.run_id.is_(None) if newest.run_id is None else shots.c.run_id == newest.run_id
    oldest = sa.select(shots.c.id).where(*inside, same_run).order_by(*places.OLDEST_FIRST).limit(1)
    return int(conn.execute(oldest).scalar_one()), int(newest.id)


def change(conn: sa.Connection, hold_id: int, values: Mapping[str, Any]) -> None:
    """Write the given columns of one hold."""
    conn.execute(sa.update(holds).where(holds.c.id == hold_id).values(**values))


def extent(conn: sa.Connection, *, press_id: int, from_shot_id: int, to_shot_id: int | None) -> Extent:
    """Count discs and trays from one shot of a press to another, both included, as they were made.

    Parameters
    ----------
    press_id : int
        The press.
    from_shot_id, to_shot_id : int
        First and last shot; None for the last means up to the newest one.

    Returns
    -------
    Extent
        Its trays, number of discs (one a shot), discs that went to no known tray, and counters.
    """
    ends = places.of(conn, (from_shot_id, to_shot_id))
    last = None if to_shot_id is None else ends[to_shot_id]
    rows = conn.execute(_BY_TRAY.where(places.within(press_id, ends[from_shot_id], last))).all()
    counted = all(row.first is not None for row in rows)
    rows = sorted(rows, key=lambda row: (row.epoch, row.first if counted else row.began_at))
    counters = (
        min(row.first for row in rows if row.epoch == rows[0].epoch),
        max(row.last for row in rows if row.epoch == rows[-1].epoch),
    ) if rows and counted else (None, None)  # fmt: skip
    return Extent(
        discs=sum(row.discs for row in rows),
        trays=tuple(dict.fromkeys(row.tray for row in rows if row.tray is not None)),
        without_tray=sum(row.discs for row in rows if row.tray is None),
        first_counter=counters[0],
        last_counter=counters[1],
    )
