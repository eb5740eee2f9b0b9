"""What changed during a run besides the values: events, refused messages, amended shots."""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa

from collector.store.tables import amendments, events, refusals, shots
from dashboard.audit.facts import EventFact
from dashboard.audit.shot_list import ShotList

# Limits have their own section, and trays are named with the discs that they took.
ELSEWHERE = ("limits", "tray")


def happened(
    conn: sa.Connection, run: sa.Row[Any], shot_list: ShotList
) -> tuple[EventFact, ...]:
    """Events of the run, in the order of time."""
    of_run = sa.select(shots.c.id).where(shots.c.run_id == run.id)
    until = run.closed_at
    if until is None and len(shot_list):
        until = shot_list.frame["ended_at"].iloc[-1].to_pydatetime()
    during = [events.c.shot_id.is_(None), events.c.at >= run.opened_at]
    if until is not None:
        during.append(events.c.at <= until)
    query = sa.select(events).where(
        events.c.press_id == run.press_id, events.c.kind.not_in(ELSEWHERE),
        sa.or_(events.c.shot_id.in_(of_run), sa.and_(*during)),
    )  # fmt: skip
    rows = conn.execute(query.order_by(events.c.at, events.c.id)).all()
    return tuple(
        EventFact(
            kind=row.kind, at=row.at, place=shot_list.place(row.shot_id), key=row.key, old=row.old,
            new=row.new, note=row.note, source=row.source,
        )
        for row in rows
    )  # fmt: skip


def refused(conn: sa.Connection, run: sa.Row[Any], press: str, site: str) -> int:
    """Messages or rows of the press that were refused while the shots of the run arrived."""
    first, last = conn.execute(
        sa.select(sa.func.min(shots.c.received_at), sa.func.max(shots.c.received_at)).where(
            shots.c.run_id == run.id
        )
    ).one()
    if first is None:
        return 0
    sources = sa.select(shots.c.source).where(shots.c.run_id == run.id).distinct()
    query = sa.select(sa.func.count()).select_from(refusals).where(
        refusals.c.source.in_(sources), refusals.c.received_at.between(first, last),
        sa.or_(refusals.c.topic.is_(None), refusals.c.topic.contains(f"/{site}/{press}/", autoescape=True)),
    )  # fmt: skip
    return conn.execute(query).scalar_one()


def amended(conn: sa.Connection, run: sa.Row[Any], shot_list: ShotList) -> tuple[str, ...]:
    """Numbers of the shots whose values were corrected after they were stored."""
    query = (
        sa.select(amendments.c.shot_id).distinct().join(shots, shots.c.id == amendments.c.shot_id)
        .where(shots.c.run_id == run.id)
    )  # fmt: skip
    places = (shot_list.place(shot_id) for shot_id in conn.execute(query).scalars())
    return tuple(shot_list.number(place) for place in sorted(p for p in places if p is not None))
