"""What is known of the discs of a hold before anybody decides: readings, age, other holds of them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from collector.gauging.age import standing
from collector.gauging.outside import Bounds
from collector.settings import Tolerance
from collector.store import holds as hold_store
from collector.store import places
from collector.store.holds import HoldRow
from collector.store.places import Place
from collector.store.tables import gaugings, runs, shots
from dashboard.queries.dome import tolerance_of

Tolerances = Mapping[str, Mapping[str, Tolerance]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Readings:
    """The newest reading of each gauged disc, of one characteristic.

    Attributes
    ----------
    characteristic : str
    discs : int
        With a reading that counts; one at an age that nobody knows does.
    early : int
        With one that was taken too early, and no other.
    outside : int or None
        Of those that count, out of tolerance; None where none is set.
    ages_h : (float, float) or None
        Youngest and oldest disc as it was gauged, of those that count and whose age is known.
    """

    characteristic: str
    discs: int
    early: int
    outside: int | None
    ages_h: tuple[float, float] | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """What is known of a hold's discs.

    `made_at` is when the first and the last were made, None where that was only computed; `elsewhere` tells
    how many of them lie on other open holds, by the number of the hold.
    """

    readings: tuple[Readings, ...]
    made_at: tuple[datetime, datetime] | None
    elsewhere: dict[int, int]


def known(conn: sa.Connection, hold: HoldRow, tolerances: Tolerances) -> Known:
    """Read it for one hold.

    Parameters
    ----------
    conn : Connection
    hold : HoldRow
    tolerances : mapping
        By mold and characteristic.
    """
    first, last = _ends(conn, hold)
    inside = places.within(hold.press_id, first, last)
    times = sa.select(sa.func.min(shots.c.ended_at), sa.func.max(shots.c.ended_at))
    oldest, newest = conn.execute(times.where(inside, shots.c.time_reconstructed.is_(False))).one()
    return Known(
        readings=tuple(_readings(_newest_of_each(conn, inside), tolerances)),
        made_at=None if oldest is None else (oldest, newest),
        elsewhere=_elsewhere(conn, hold),
    )


def _ends(conn: sa.Connection, hold: HoldRow) -> tuple[Place, Place | None]:
    found = places.of(conn, (hold.from_shot_id, hold.to_shot_id))
    return found[hold.from_shot_id], None if hold.to_shot_id is None else found[hold.to_shot_id]


def _newest_of_each(conn: sa.Connection, inside: sa.ColumnElement[bool]) -> Iterable[Any]:
    """One row a disc and characteristic: a reading that counts before one that was too early."""
    c = gaugings.c
    query = (
        sa.select(c.shot_id, c.characteristic, c.value, c.age_h, runs.c.mold)
        .select_from(gaugings.join(shots, shots.c.id == c.shot_id).outerjoin(runs))
        .where(inside, c.withdrawn_at.is_(None))
        .order_by(c.id)
    )
    rows = sorted(conn.execute(query), key=_counts)  # sorting is stable: the newest of equals stays last
    return {(row.shot_id, row.characteristic): row for row in rows}.values()


def _counts(row: Any) -> bool:
    return standing(row.characteristic, row.age_h) != "provisional"


def _readings(rows: Iterable[Any], tolerances: Tolerances) -> Iterable[Readings]:
    by_key: dict[str, list[Any]] = {}
    for row in rows:
        by_key.setdefault(row.characteristic, []).append(row)
    for key, found in sorted(by_key.items()):
        final = [row for row in found if _counts(row)]
        judged = [(tolerance_of(tolerances, row.mold, key), row.value) for row in final]
        excess = [Bounds(each.low, each.high).excess(value) != 0 for each, value in judged if each]
        ages = [row.age_h for row in final if row.age_h is not None]
        yield Readings(
            characteristic=key, discs=len(final), early=len(found) - len(final),
            outside=sum(excess) if excess else None, ages_h=(min(ages), max(ages)) if ages else None,
        )  # fmt: skip


def _elsewhere(conn: sa.Connection, hold: HoldRow) -> dict[int, int]:
    first, last = _ends(conn, hold)
    found = {}
    for other in hold_store.open_holds(conn, press_id=hold.press_id):
        if other.id != hold.id:
            other_first, other_last = _ends(conn, other)
            discs = _between(
                conn, hold.press_id, max(first, other_first, key=places.order), _earlier(last, other_last)
            )
            if discs:
                found[other.id] = discs
    return found


def _earlier(one: Place | None, other: Place | None) -> Place | None:
    """Of two ends the earlier; None is one that is still open."""
    ends = [each for each in (one, other) if each is not None]
    return min(ends, key=places.order) if ends else None


def _between(conn: sa.Connection, press_id: int, first: Place, last: Place | None) -> int:
    if last is not None and places.order(last) < places.order(first):
        return 0
    inside = places.within(press_id, first, last)
    return conn.execute(sa.select(sa.func.count()).select_from(shots).where(inside)).scalar_one()
