"""Reading what the proposals need: holds with their discs, tray fillings, and what was gauged already."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta

import sqlalchemy as sa

from collector.gauging.age import USUAL_DOME_AGE_H, set_time_h
from collector.gauging.model import Disc
from collector.gauging.proposal import Proposal, Why, controls, due_from, of_hold, ordered
from collector.store.disc_lookup import disc, discs, select_discs
from collector.store.holds import HoldRow, open_holds
from collector.store.tables import gaugings, presses, shots
from collector.store.withdrawn import SITE

MOST_IN_A_HOLD = 2_000  # a longer hold is proposed from its first discs; its far edge is still asked for


def due(
    conn: sa.Connection, now: datetime, *, characteristic: str = "dome", within: timedelta = timedelta(0)
) -> list[Proposal]:
    """Discs to gauge, those that are old enough first.

    Parameters
    ----------
    conn : Connection
    now : datetime
        Service time.
    characteristic : str
        What is to be gauged; discs that have a reading of it are left out.
    within : timedelta
        Discs that become old enough within this time are listed too.

    Returns
    -------
    list of Proposal
        Edges of holds and discs on hold first, then one control a tray filling of the usual ages.
    """
    needed = set_time_h(characteristic)
    found = [
        Proposal(disc, why, due_from(disc, needed), hold.id)
        for hold in open_holds(conn)
        for disc, why in _of_hold(conn, hold)
    ]
    found += [Proposal(disc, Why.CONTROL, due_from(disc, needed))
              for disc in _controls(conn, now, characteristic, within)]  # fmt: skip
    first: dict[int, Proposal] = {}
    for proposal in ordered(found, now):
        first.setdefault(proposal.disc.shot_id, proposal)
    gauged = _gauged_of(conn, characteristic, list(first))
    return [p for p in first.values() if p.disc.shot_id not in gauged and _counts(p, now + within)]


def _counts(proposal: Proposal, until: datetime) -> bool:
    """Old enough by then; the age of a disc whose time was only computed is nobody's guess."""
    return proposal.due_at <= until and not proposal.disc.time_reconstructed


def _of_hold(conn: sa.Connection, hold: HoldRow) -> list[tuple[Disc, Why]]:
    """Proposals of one hold; by time, since a late shot has a later number."""
    first = disc(conn, hold.from_shot_id)
    last = None if hold.to_shot_id is None else disc(conn, hold.to_shot_id)
    assert first is not None  # a foreign key says so
    of_press, at = shots.c.press_id == hold.press_id, shots.c.ended_at
    inside = [of_press, at >= first.ended_at]
    before = _one(conn, of_press, at < first.ended_at, order=at.desc())
    after = None
    if last is not None:
        inside.append(at <= last.ended_at)
        after = _one(conn, of_press, at > last.ended_at, order=at)
    held = discs(conn, select_discs(*inside).order_by(at, shots.c.id).limit(MOST_IN_A_HOLD))
    if last is not None and held[-1].shot_id != last.shot_id:
        held.append(last)
    return of_hold(held, before, after)


def _one(
    conn: sa.Connection, *where: sa.ColumnElement[bool], order: sa.ColumnElement[datetime]
) -> Disc | None:
    return next(iter(discs(conn, select_discs(*where).order_by(order).limit(1))), None)


def _controls(conn: sa.Connection, now: datetime, characteristic: str, within: timedelta) -> list[Disc]:
    """One disc a tray filling, of fillings that nobody took one from yet."""
    needed = set_time_h(characteristic)
    ripe = now - timedelta(hours=needed) + within
    since = now - timedelta(hours=max(USUAL_DOME_AGE_H[1], needed))
    # The index begins with the press: naming every press keeps the cost with the window, not the store.
    of_presses = shots.c.press_id.in_(sa.select(presses.c.id).where(presses.c.site != SITE))
    recent = (of_presses, shots.c.ended_at > since, shots.c.ended_at <= ripe, shots.c.tray.is_not(None))
    starts = discs(conn, select_discs(*recent, shots.c.tray_position == 1, shots.c.phase != "startup"))
    query = select_discs(shots.c.ended_at > since, shots.c.tray.is_not(None), *_is_gauged(characteristic))
    return controls(starts, discs(conn, query))


def _is_gauged(characteristic: str) -> tuple[sa.ColumnElement[bool], ...]:
    return (
        shots.c.id == gaugings.c.shot_id,
        gaugings.c.characteristic == characteristic,
        gaugings.c.withdrawn_at.is_(None),
    )


def _gauged_of(conn: sa.Connection, characteristic: str, shot_ids: list[int]) -> set[int]:
    """Those of the shots whose disc has a reading."""
    found: set[int] = set()
    for ids in _chunks(shot_ids, 500):
        query = sa.select(gaugings.c.shot_id).where(
            gaugings.c.shot_id.in_(ids),
            gaugings.c.characteristic == characteristic,
            gaugings.c.withdrawn_at.is_(None),
        )
        found.update(conn.execute(query).scalars())
    return found


def _chunks(ids: list[int], size: int) -> Iterable[list[int]]:
    return (ids[start : start + size] for start in range(0, len(ids), size))
