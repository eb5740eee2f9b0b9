"""What every decision about a hold has in common: counts, row, step, journal, its alarm, messages."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import sqlalchemy as sa

from collector.actions.alarm_steps import written_by
from collector.actions.doer import Doer, named
from collector.alarms.announce import announce
from collector.alarms.extent_words import extent_words
from collector.alarms.lifecycle import AlarmEvent
from collector.alarms.model import PressRef
from collector.errors import NotAllowed
from collector.store import alarms as alarm_store
from collector.store import holds as hold_store
from collector.store import journal, presses
from collector.store.holds import Extent, HoldRow


@dataclass(frozen=True, slots=True)
class Decision:
    """What becomes of a hold: its new state and the discs counted; None: all the others."""

    state: str
    good_discs: int | None = None
    bad_discs: int | None = None


def counted(decision: Decision, made: int) -> dict[str, int]:
    """Good and bad discs; some may be missing, but there cannot be more than were made."""
    good, bad = decision.good_discs, decision.bad_discs
    good = made - (bad or 0) if good is None else good
    bad = made - good if bad is None else bad
    if good < 0 or bad < 0:
        raise NotAllowed("a number of discs cannot be below zero")
    if good + bad > made:
        raise NotAllowed(f"{good + bad:,} discs are counted, but only {made:,} were made: count again")
    return {"good_discs": good, "bad_discs": bad}


def write_down(
    conn: sa.Connection, hold: HoldRow, changes: dict[str, Any], doer: Doer, *, event: str
) -> None:
    """The row, its step and its journal entry."""
    assert doer.note is not None  # a decision has a reason
    hold_store.change(conn, hold.id, changes)
    discs = {name: changes[name] for name in ("good_discs", "bad_discs")}
    hold_store.add_step(conn, hold.id, at=doer.now, event=event, who=doer.who, reason=doer.note, **discs)
    inside = extent(conn, hold, changes.get("to_shot_id", hold.to_shot_id))
    after = {"state": changes["state"], "discs": inside.discs, "trays": list(inside.trays), **discs}
    before = {name: getattr(hold, name) for name in ("state", "to_shot_id", *discs)}
    journal.append(
        conn, at=doer.now, wall_at=doer.clock.wall(), who=doer.who, action=f"hold {event}",
        subject=f"hold {hold.id}", before=before,
        after=after | {"to_shot_id": changes.get("to_shot_id", hold.to_shot_id)}, why=doer.note,
    )  # fmt: skip


def tell_alarm(conn: sa.Connection, hold: HoldRow, event: AlarmEvent, doer: Doer) -> None:
    """Let the alarm of a hold go when none of its discs waits any more, or latch it again."""
    alarm = None if hold.alarm_id is None else alarm_store.get(conn, hold.alarm_id)
    if alarm is None or (event == "reset") == alarm.holding:
        return  # no alarm's discs, or another hold of it is open
    before = replace(alarm, holding=not alarm.holding)
    written = written_by(before, event)
    if (written["state"], written["beneath"]) == (alarm.state, alarm.beneath):
        return
    alarm_store.change(conn, alarm.id, written | {"changed_at": doer.now})
    alarm_store.add_step(
        conn, alarm.id, at=doer.now, event=event, before=alarm.state, after=written["state"], who=doer.who,
        note=f"hold {hold.id}: {doer.note}",
    )


def announce_hold(conn: sa.Connection, hold: HoldRow, event: str, doer: Doer) -> None:
    """Say it at the press."""
    now_it_is = hold_store.get(conn, hold.id)
    assert now_it_is is not None  # in this transaction
    press = PressRef(id=hold.press_id, **alarm_store.press_of(conn, hold.press_id))
    inside = extent(conn, hold, now_it_is.to_shot_id)
    line = f"{press.name} hold {hold.id} {event} by {doer.who}: {extent_words(inside)}"
    announce(conn, press, now=doer.now, wall=doer.clock.wall(), what=[line])


def given(who: str, reason: str) -> None:
    """Refuse an act of nobody, or for no reason."""
    named(who)
    if not reason.strip():
        raise NotAllowed("give the reason in a few words, such as what the gauge said")


def locked(conn: sa.Connection, hold_id: int) -> HoldRow:
    """A hold that neither shots nor another person change before this transaction ends."""
    hold = _hold(conn, hold_id)
    presses.lock(conn, hold.press_id)
    return _hold(conn, hold_id)


def _hold(conn: sa.Connection, hold_id: int) -> HoldRow:
    hold = hold_store.get(conn, hold_id)
    if hold is None:
        raise NotAllowed(f"there is no hold {hold_id}; reload the page")
    return hold


def extent(conn: sa.Connection, hold: HoldRow, to_shot_id: int | None) -> Extent:
    """What lies in a hold up to a shot."""
    return hold_store.extent(
        conn, press_id=hold.press_id, from_shot_id=hold.from_shot_id, to_shot_id=to_shot_id
    )
