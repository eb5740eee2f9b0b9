"""Counters that a press skipped: shots that never arrived, until they do or a person says why not.

A gap is listed when the shot after it arrives. Each late shot makes it smaller; with the last one it closes.
A person may close it with a reason, such as dry cycles that made no disc.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from collector.contract.figures import counted
from collector.store.tables import counter_gaps, events, presses
from collector.store.withdrawn import SITE

GAP, LATE = "gap", "late"  # kinds of the event: while shots are missing, and once all are here


@dataclass(frozen=True, slots=True, kw_only=True)
class Gap:
    """Counters after `after_counter` and before `before_counter`, of which `missing` are not here."""

    id: int
    site: str
    press: str
    epoch: int
    after_counter: int
    before_counter: int
    at: datetime
    missing: int
    closed_at: datetime | None
    closed_by: str | None
    why: str | None


def row(press_id: int, epoch: int, *, after: int, before: int, at: datetime) -> dict[str, Any]:
    """One gap, ready for :func:`insert`."""
    return {
        "press_id": press_id, "epoch": epoch, "after_counter": after, "before_counter": before, "at": at,
        "missing": before - after - 1,
    }


def insert(conn: sa.Connection, rows: Sequence[dict[str, Any]]) -> None:
    """Store gaps."""
    if rows:
        conn.execute(sa.insert(counter_gaps), list(rows))


def epoch_of(conn: sa.Connection, press_id: int, counter: int, ended_at: datetime) -> int | None:
    """Epoch of the open gap that a shot of this counter and time fills, None if it fills none."""
    c = counter_gaps.c
    query = sa.select(c.epoch).where(
        c.press_id == press_id, c.closed_at.is_(None), c.after_counter < counter, c.before_counter > counter,
        c.at > ended_at,
    )
    return conn.execute(query.order_by(c.at).limit(1)).scalar()


def arrived(conn: sa.Connection, press_id: int, epoch: int, counter: int, *, at: datetime) -> None:
    """Count a late shot into its gap, open or closed by a person; the event says so too."""
    c = counter_gaps.c
    found = conn.execute(
        sa.select(counter_gaps).where(
            c.press_id == press_id, c.epoch == epoch, c.after_counter < counter, c.before_counter > counter,
            c.missing > 0,
        )
    ).first()
    if found is None:
        return
    missing = found.missing - 1
    closed_at = found.closed_at if missing else found.closed_at or at
    conn.execute(
        sa.update(counter_gaps).where(c.id == found.id).values(missing=missing, closed_at=closed_at)
    )
    _note(conn, found, missing)


def _note(conn: sa.Connection, gap: sa.Row[Any], missing: int) -> None:
    skipped = gap.before_counter - gap.after_counter - 1
    changes = {"kind": GAP, "note": f"{missing} of {skipped} shots never arrived"}
    if not missing:
        changes = {"kind": LATE, "note": f"{counted(skipped, 'shot')} came late"}
    e = events.c
    named = sa.select(e.id, e.old).where(e.press_id == gap.press_id, e.kind.in_((GAP, LATE)), e.at == gap.at)
    for event in conn.execute(named).all():
        if event.old == gap.after_counter:
            conn.execute(sa.update(events).where(e.id == event.id).values(**changes))


def reopen(conn: sa.Connection, gap_id: int, *, more: int) -> None:
    """Shots that had filled a gap were taken back."""
    found = conn.execute(sa.select(counter_gaps).where(counter_gaps.c.id == gap_id)).one()
    missing = found.missing + more
    closed_at = found.closed_at if found.closed_by is not None else None
    own = sa.update(counter_gaps).where(counter_gaps.c.id == gap_id)
    conn.execute(own.values(missing=missing, closed_at=closed_at))
    _note(conn, found, missing)


def listed(conn: sa.Connection, *, press: str | None = None, closed: bool = False) -> list[Gap]:
    """Gaps, oldest first: the open ones, or with `closed` all."""
    c = counter_gaps.c
    query = sa.select(counter_gaps, presses.c.site, presses.c.name.label("press")).join(presses)
    query = query.where(presses.c.site != SITE)
    if press is not None:
        query = query.where(presses.c.name == press)
    if not closed:
        query = query.where(c.closed_at.is_(None))
    return [_gap(found) for found in conn.execute(query.order_by(c.at, c.id))]


def by_id(conn: sa.Connection, gap_id: int) -> Gap | None:
    """One gap."""
    query = sa.select(counter_gaps, presses.c.site, presses.c.name.label("press")).join(presses)
    found = conn.execute(query.where(counter_gaps.c.id == gap_id)).one_or_none()
    return None if found is None else _gap(found)


def _gap(found: sa.Row[Any]) -> Gap:
    return Gap(**{name: getattr(found, name) for name in Gap.__slots__})


def close(conn: sa.Connection, gap_id: int, *, at: datetime, who: str, why: str) -> None:
    """Close a gap by a person's word."""
    c = counter_gaps.c
    conn.execute(
        sa.update(counter_gaps).where(c.id == gap_id).values(closed_at=at, closed_by=who, why=why)
    )
