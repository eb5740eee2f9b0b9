"""What a person does with discs on hold: set some aside; let them go, sort or scrap them; think again.

An alarm whose hold is open is latched; when the last of its holds is decided it is not any more.
"""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa

from collector.actions.doer import Doer
from collector.actions.hold_steps import (
    Decision,
    announce_hold,
    counted,
    extent,
    given,
    locked,
    tell_alarm,
    write_down,
)
from collector.clock import ServiceClock
from collector.errors import NotAllowed
from collector.store import holds as hold_store
from collector.store import journal, places
from collector.store.database import write
from collector.store.tables import shots


def open_by_hand(
    engine: sa.Engine,
    *,
    from_shot_id: int,
    to_shot_id: int,
    who: str,
    clock: ServiceClock,
    reason: str,
) -> int:
    """Set the discs of a stretch of shots aside.

    Parameters
    ----------
    engine : Engine
        The store.
    from_shot_id, to_shot_id : int
        First and last shot, of the same press.
    who, reason : str
        Who sets them aside, and why.
    clock : ServiceClock
        For the time of it.

    Returns
    -------
    int
        Number of the hold.

    Raises
    ------
    NotAllowed
        Nobody or no reason is named, a shot is not stored, or the two are not a stretch of one press.
    """
    given(who, reason)
    with write(engine) as conn:
        press_id, run_id = _stretch(conn, from_shot_id, to_shot_id)
        now = clock.now()
        values: dict[str, Any] = {
            "press_id": press_id, "run_id": run_id, "alarm_id": None, "from_shot_id": from_shot_id,
            "to_shot_id": to_shot_id, "reason": reason.strip(), "opened_by": who, "opened_at": now,
        }  # fmt: skip
        hold_id = hold_store.open_new(conn, values)
        after = {"from_shot": from_shot_id, "to_shot": to_shot_id}
        journal.append(
            conn, at=now, wall_at=clock.wall(), who=who, action="hold open", subject=f"hold {hold_id}",
            after=after, why=reason.strip(),
        )  # fmt: skip
    return hold_id


def release(engine: sa.Engine, hold_id: int, *, who: str, clock: ServiceClock, reason: str) -> None:
    """Let the discs of a hold go.

    Raises
    ------
    NotAllowed
        Nobody or no reason is named, there is no such hold, or it is not open.
    """
    decision = Decision(hold_store.RELEASED, bad_discs=0)
    _settle(engine, hold_id, decision, who=who, clock=clock, reason=reason)


def scrap(
    engine: sa.Engine, hold_id: int, *, who: str, clock: ServiceClock, reason: str, discs: int | None = None
) -> None:
    """Scrap the discs of a hold.

    Parameters
    ----------
    engine : Engine
    hold_id : int
    who, reason : str
    clock : ServiceClock
    discs : int, optional
        How many were found and scrapped; all that were made, if nobody counted.

    Raises
    ------
    NotAllowed
        Nobody or no reason is named, there is no such hold, it is not open, or more discs are counted than
        were made.
    """
    decision = Decision(hold_store.SCRAPPED, good_discs=0, bad_discs=discs)
    _settle(engine, hold_id, decision, who=who, clock=clock, reason=reason)


def sort(
    engine: sa.Engine,
    hold_id: int,
    *,
    who: str,
    clock: ServiceClock,
    reason: str,
    good_discs: int,
    bad_discs: int,
) -> None:
    """Part the discs of a hold: the good ones go, the bad ones are scrapped.

    Raises
    ------
    NotAllowed
        As for :func:`scrap`; or a count is below zero.
    """
    decision = Decision(hold_store.SORTED, good_discs, bad_discs)
    _settle(engine, hold_id, decision, who=who, clock=clock, reason=reason)


def reopen(engine: sa.Engine, hold_id: int, *, who: str, clock: ServiceClock, reason: str) -> None:
    """Set the discs of a decided hold aside again, as many of them as can still be found.

    Raises
    ------
    NotAllowed
        Nobody or no reason is named, there is no such hold, or it is open.
    """
    given(who, reason)
    with write(engine) as conn:
        hold = locked(conn, hold_id)
        if hold.state == hold_store.OPEN:
            raise NotAllowed(f"hold {hold_id} is open: nothing was decided yet")
        changes = dict.fromkeys(("closed_by", "closed_at", "note", "good_discs", "bad_discs"))
        doer = Doer(who=who, clock=clock, now=clock.now(), note=reason.strip())
        write_down(conn, hold, {"state": hold_store.OPEN, **changes}, doer, event=hold_store.REOPENED)
        tell_alarm(conn, hold, "hold", doer)
        announce_hold(conn, hold, hold_store.REOPENED, doer)


def _settle(
    engine: sa.Engine, hold_id: int, decision: Decision, *, who: str, clock: ServiceClock, reason: str
) -> None:
    given(who, reason)
    with write(engine) as conn:
        hold = locked(conn, hold_id)
        if hold.state != hold_store.OPEN:
            raise NotAllowed(f"hold {hold_id} was {hold.state} by {hold.closed_by} already")
        to_shot_id = hold.to_shot_id if hold.to_shot_id is not None else places.newest(conn, hold.press_id)
        inside = extent(conn, hold, to_shot_id)
        doer = Doer(who=who, clock=clock, now=clock.now(), note=reason.strip())
        changes = {
            "state": decision.state, "to_shot_id": to_shot_id, "closed_by": who, "closed_at": doer.now,
            "note": doer.note, **counted(decision, inside.discs),
        }  # fmt: skip
        write_down(conn, hold, changes, doer, event=decision.state)
        tell_alarm(conn, hold, "reset", doer)
        announce_hold(conn, hold, decision.state, doer)


def _stretch(conn: sa.Connection, from_shot_id: int, to_shot_id: int) -> tuple[int, int | None]:
    query = sa.select(shots.c.id, shots.c.press_id, shots.c.run_id)
    found = {row.id: row for row in conn.execute(query.where(shots.c.id.in_({from_shot_id, to_shot_id})))}
    for shot_id in (from_shot_id, to_shot_id):
        if shot_id not in found:
            raise NotAllowed(f"there is no shot {shot_id} in the store")
    first, last = found[from_shot_id], found[to_shot_id]
    ends = places.of(conn, found)
    if first.press_id != last.press_id or places.order(ends[to_shot_id]) < places.order(ends[from_shot_id]):
        raise NotAllowed("a hold goes from an earlier to a later shot of one press")
    return int(first.press_id), first.run_id if first.run_id == last.run_id else None
