"""What a person does with discs on hold: set some aside by hand, let them go, or scrap them."""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa

from collector.alarms.announce import announce
from collector.alarms.model import PressRef
from collector.clock import ServiceClock
from collector.errors import NotAllowed
from collector.store import alarms as alarm_store
from collector.store import holds as hold_store
from collector.store import journal
from collector.store.database import write
from collector.store.holds import HoldRow
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
    _named(who, reason)
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
    _settle(engine, hold_id, hold_store.RELEASED, who=who, clock=clock, reason=reason)


def scrap(engine: sa.Engine, hold_id: int, *, who: str, clock: ServiceClock, reason: str) -> None:
    """Scrap the discs of a hold.

    Raises
    ------
    NotAllowed
        Nobody or no reason is named, there is no such hold, or it is not open.
    """
    _settle(engine, hold_id, hold_store.SCRAPPED, who=who, clock=clock, reason=reason)


def _settle(
    engine: sa.Engine, hold_id: int, state: str, *, who: str, clock: ServiceClock, reason: str
) -> None:
    _named(who, reason)
    with write(engine) as conn:
        hold = _open_hold(conn, hold_id)
        now = clock.now()
        to_shot_id = hold.to_shot_id if hold.to_shot_id is not None else _newest(conn, hold.press_id)
        changes = {
            "state": state, "to_shot_id": to_shot_id, "closed_by": who, "closed_at": now,
            "note": reason.strip(),
        }  # fmt: skip
        hold_store.change(conn, hold_id, changes)
        inside = hold_store.extent(
            conn, press_id=hold.press_id, from_shot_id=hold.from_shot_id, to_shot_id=to_shot_id
        )
        after = {"state": state, "to_shot": to_shot_id, "discs": inside.discs, "trays": list(inside.trays)}
        journal.append(
            conn, at=now, wall_at=clock.wall(), who=who, action=f"hold {state}", subject=f"hold {hold_id}",
            before={"state": hold.state, "to_shot": hold.to_shot_id}, after=after, why=reason.strip(),
        )  # fmt: skip
        press = PressRef(id=hold.press_id, **alarm_store.press_of(conn, hold.press_id))
        line = f"{press.name} hold {hold_id} {state} by {who}: {hold_store.extent_words(inside)}"
        announce(conn, press, now=now, wall=clock.wall(), what=[line])


def _named(who: str, reason: str) -> None:
    if not who.strip():
        raise NotAllowed("say who does this: choose a name")
    if not reason.strip():
        raise NotAllowed("give the reason in a few words, such as what the gauge said")


def _open_hold(conn: sa.Connection, hold_id: int) -> HoldRow:
    hold = hold_store.get(conn, hold_id)
    if hold is None:
        raise NotAllowed(f"there is no hold {hold_id}; reload the page")
    if hold.state != hold_store.OPEN:
        raise NotAllowed(f"hold {hold_id} was {hold.state} by {hold.closed_by} already")
    return hold


def _stretch(conn: sa.Connection, from_shot_id: int, to_shot_id: int) -> tuple[int, int | None]:
    query = sa.select(shots.c.id, shots.c.press_id, shots.c.run_id)
    found = {row.id: row for row in conn.execute(query.where(shots.c.id.in_({from_shot_id, to_shot_id})))}
    for shot_id in (from_shot_id, to_shot_id):
        if shot_id not in found:
            raise NotAllowed(f"there is no shot {shot_id} in the store")
    first, last = found[from_shot_id], found[to_shot_id]
    if first.press_id != last.press_id or from_shot_id > to_shot_id:
        raise NotAllowed("a hold goes from an earlier to a later shot of one press")
    return int(first.press_id), first.run_id if first.run_id == last.run_id else None


def _newest(conn: sa.Connection, press_id: int) -> int | None:
    newest = conn.execute(sa.select(sa.func.max(shots.c.id)).where(shots.c.press_id == press_id)).scalar()
    return None if newest is None else int(newest)
