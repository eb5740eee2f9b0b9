"""Finding the shot that made a gauged disc: by counter, by tray and position, or by order in a run."""

from __future__ import annotations

from datetime import datetime
from typing import Any

import sqlalchemy as sa

from collector.gauging.age import CLOCK_SLACK
from collector.gauging.filling import latest_filling
from collector.gauging.model import Disc, Join, NewGauging
from collector.store.tables import presses, runs, shots

MOST_IN_A_TRAY = 1_000

_COLUMNS = (
    shots.c.id.label("shot_id"), shots.c.press_id, shots.c.run_id, shots.c.counter, shots.c.ended_at,
    shots.c.time_reconstructed, shots.c.tray, shots.c.tray_position,
)  # fmt: skip


def select_discs(*where: sa.ColumnElement[bool]) -> sa.Select[Any]:
    """A query of discs; `discs` reads it."""
    return sa.select(*_COLUMNS).where(*where)


def discs(conn: sa.Connection, query: sa.Select[Any]) -> list[Disc]:
    """The discs that a query of `select_discs` finds."""
    return [Disc(**row) for row in conn.execute(query).mappings()]


def disc(conn: sa.Connection, shot_id: int) -> Disc | None:
    """One disc by its shot."""
    return next(iter(discs(conn, select_discs(shots.c.id == shot_id))), None)


def find(conn: sa.Connection, gauging: NewGauging, *, offset: int = 0) -> Join:
    """Find the disc that a gauging names.

    Parameters
    ----------
    conn : Connection
    gauging : NewGauging
    offset : int
        For a gauging named by order: shots of the run to skip before place 0.

    Returns
    -------
    Join
        A disc; a tray's filling when no position was given; or neither, with the reason.
    """
    press_ids = _press_ids(conn, gauging)
    if gauging.shot_id is not None:
        found = disc(conn, gauging.shot_id)
        return Join(by="shot", disc=found) if found else _waiting("that shot is not stored")
    if gauging.counter is not None:
        return _by_counter(conn, gauging, press_ids)
    if gauging.tray is not None:
        return _by_tray(conn, gauging, press_ids)
    if gauging.order_index is not None:
        return _by_order(conn, gauging, press_ids, offset)
    return _waiting("a disc's mark alone names no shot; give press and shot, or tray and position")


def _waiting(reason: str) -> Join:
    return Join(by=None, disc=None, reason=reason)


def _press_ids(conn: sa.Connection, gauging: NewGauging) -> list[int]:
    query = sa.select(presses.c.id).where(presses.c.site == gauging.site).order_by(presses.c.id)
    if gauging.press is not None:
        query = query.where(presses.c.name == gauging.press)
    return list(conn.execute(query).scalars())


def _run_ids(conn: sa.Connection, gauging: NewGauging, press_ids: list[int]) -> list[int]:
    query = sa.select(runs.c.id).where(runs.c.press_id.in_(press_ids), runs.c.name == gauging.run)
    return list(conn.execute(query).scalars())


def _made_before(gauged_at: datetime | None) -> list[sa.ColumnElement[bool]]:
    """A disc is older than its gauging, unless the shot's time was only computed."""
    if gauged_at is None:
        return []
    return [sa.or_(shots.c.time_reconstructed, shots.c.ended_at <= gauged_at + CLOCK_SLACK)]


def _by_counter(conn: sa.Connection, gauging: NewGauging, press_ids: list[int]) -> Join:
    if gauging.press is None:
        return _waiting(f"shot {gauging.counter} of which press? give the press as well")
    where = [shots.c.counter == gauging.counter, *_made_before(gauging.gauged_at)]
    if gauging.run is not None:
        where.append(shots.c.run_id.in_(_run_ids(conn, gauging, press_ids)))
    for press_id in press_ids:
        for epoch in _epochs(conn, press_id):
            query = select_discs(shots.c.press_id == press_id, shots.c.epoch == epoch, *where)
            if found := discs(conn, query):
                return Join(by="shot", disc=found[0])
    return _waiting(f"shot {gauging.counter} of {gauging.press} has not arrived")


def _epochs(conn: sa.Connection, press_id: int) -> list[int]:
    """Counter epochs of a press, latest first; each is one step in the index, however many shots."""
    newest = sa.select(sa.func.max(shots.c.epoch)).where(shots.c.press_id == press_id)
    found: list[int] = []
    epoch = conn.execute(newest).scalar()
    while epoch is not None:
        found.append(epoch)
        epoch = conn.execute(newest.where(shots.c.epoch < epoch)).scalar()
    return found


def _by_tray(conn: sa.Connection, gauging: NewGauging, press_ids: list[int]) -> Join:
    where = [shots.c.tray == gauging.tray, *_made_before(gauging.gauged_at)]
    if gauging.run is not None:
        where.append(shots.c.run_id.in_(_run_ids(conn, gauging, press_ids)))
    fillings = [filling for press_id in press_ids if (filling := _filling(conn, press_id, where))]
    if not fillings:
        return _waiting(f"no disc in tray {gauging.tray} has arrived")
    filling = max(fillings, key=lambda discs: (discs[-1].ended_at, discs[-1].shot_id))
    if gauging.position is None:
        newest = filling[-1]
        return Join(
            by="tray", disc=None, press_id=newest.press_id, run_id=newest.run_id,
            reason=f"tray {gauging.tray} without a position names no single disc",
        )  # fmt: skip
    found = next((disc for disc in filling if disc.tray_position == gauging.position), None)
    if found is None:
        return _waiting(
            f"tray {gauging.tray} has no disc at position {gauging.position} in its latest filling"
        )
    return Join(by="tray", disc=found)


def _filling(conn: sa.Connection, press_id: int, where: list[sa.ColumnElement[bool]]) -> list[Disc]:
    newest = select_discs(shots.c.press_id == press_id, *where).order_by(shots.c.id.desc())
    return latest_filling(discs(conn, newest.limit(MOST_IN_A_TRAY)))


def _by_order(conn: sa.Connection, gauging: NewGauging, press_ids: list[int], offset: int) -> Join:
    run_id = _run_of_order(conn, gauging, press_ids)
    if run_id is None:
        return _waiting("the run of this list has not arrived, or it is not clear which one is meant")
    place = (gauging.order_index or 0) + offset
    query = select_discs(shots.c.run_id == run_id).order_by(shots.c.epoch, shots.c.counter, shots.c.ended_at)
    found = discs(conn, query.offset(place).limit(1)) if place >= 0 else []
    if not found:
        return _waiting(f"the run has no shot at place {place + 1}")
    return Join(by="order", disc=found[0])


def _run_of_order(conn: sa.Connection, gauging: NewGauging, press_ids: list[int]) -> int | None:
    """The named run; without a name the newest run of the press that had begun by then."""
    if gauging.run is not None:
        named = _run_ids(conn, gauging, press_ids)
        return named[0] if len(named) == 1 else None
    if gauging.press is None:
        return None
    query = sa.select(runs.c.id, runs.c.opened_at).where(runs.c.press_id.in_(press_ids))
    found = conn.execute(query.order_by(runs.c.opened_at.desc())).all()
    begun = [row.id for row in found if gauging.gauged_at is None or row.opened_at <= gauging.gauged_at]
    # The opening of a run whose times were computed says nothing; a press with one run leaves no doubt.
    return begun[0] if begun else found[0].id if len(found) == 1 else None
