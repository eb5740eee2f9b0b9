"""What a person does so that an alarm calls nobody: shelve it, or take what it is about out of service.

A shelf has an end and a reason, and the alarm comes back by itself. Out of service is a press or one
characteristic of it, until a person puts it back. Both are listed, charted and stored all the same, and the
discs they touch go on hold as ever. The press and its own alarms are not touched.

References
----------
IEC 62682:2022 and ANSI/ISA-18.2-2016: shelving has a longest duration, a reason and a list (from memory).
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta

import sqlalchemy as sa

from collector.actions.alarm_steps import carry_out, take_in_hand
from collector.actions.doer import Doer, named
from collector.alarms import lifecycle
from collector.alarms.working import stage_of_row
from collector.clock import ServiceClock
from collector.errors import NotAllowed
from collector.store import alarms as alarm_store
from collector.store import journal, presses, set_asides
from collector.store.alarms import AlarmRow
from collector.store.database import read, write
from collector.store.set_asides import OUT_OF_SERVICE, SHELVED, SetAside

LONGEST = timedelta(hours=8)  # a shift; common practice, no source


def shelve(
    engine: sa.Engine,
    alarm_id: int,
    *,
    who: str,
    clock: ServiceClock,
    until: datetime | None,
    reason: str,
    longest: timedelta = LONGEST,
) -> None:
    """Let an alarm call nobody until a time, after which it comes back by itself.

    Parameters
    ----------
    engine : Engine
    alarm_id : int
    who, reason : str
    clock : ServiceClock
    until : datetime or None
        Floor time; there is no shelf without an end.
    longest : timedelta
        No shelf lasts longer.

    Raises
    ------
    NotAllowed
        Nobody, no reason or no end is named, the end is past or too far away, there is no such alarm, it is
        closed, or it is kept quiet already.
    """
    _given(who, reason)
    with write(engine) as conn:
        alarm = take_in_hand(conn, alarm_id)
        doer = Doer(who=who, clock=clock, now=clock.now(), note=reason.strip())
        ends = _end(until, doer.now, longest)
        carry_out(conn, alarm, "shelve", {}, doer, journaled={"until": ends.isoformat()})
        set_asides.begin(conn, {
            "kind": SHELVED, "press_id": alarm.press_id, "alarm_id": alarm_id, "at": doer.now, "until": ends,
            "who": who, "reason": reason.strip(),
        })  # fmt: skip


def unshelve(
    engine: sa.Engine, alarm_id: int, *, who: str, clock: ServiceClock, reason: str | None = None
) -> None:
    """Let a shelved alarm come back before its time. If the condition is there it calls again.

    Raises
    ------
    NotAllowed
        Nobody is named, there is no such alarm, or it is not shelved.
    """
    named(who)
    with write(engine) as conn:
        doer = Doer(who=who, clock=clock, now=clock.now(), note=reason)
        _unshelve(conn, take_in_hand(conn, alarm_id), doer)


def return_due(engine: sa.Engine, clock: ServiceClock) -> list[int]:
    """Let every shelved alarm come back that is due.

    Due is what has reached its end, and what was shelved before the clock was set back: a shelf that lasts
    longer than anybody meant is worse than one that ends early.

    Returns
    -------
    list of int
        The alarms that came back.
    """
    with read(engine) as conn:
        due = [shelf for shelf in set_asides.lasting(conn) if _why_due(shelf, clock.now())]
    return [shelf.alarm_id for shelf in due if shelf.alarm_id and _returned(engine, shelf.alarm_id, clock)]


def _returned(engine: sa.Engine, alarm_id: int, clock: ServiceClock) -> bool:
    """Let one alarm come back, unless a person was quicker; a transaction each, for each locks its press."""
    with write(engine) as conn:
        alarm = take_in_hand(conn, alarm_id)
        shelf, now = set_asides.shelf_of(conn, alarm_id), clock.now()
        note = None if shelf is None else _why_due(shelf, now)
        if note is not None:
            _unshelve(conn, alarm, Doer(who=alarm_store.SERVICE, clock=clock, now=now, note=note))
    return note is not None


def take_out_of_service(
    engine: sa.Engine, press_id: int, key: str | None, *, who: str, clock: ServiceClock, reason: str
) -> int:
    """Let a press, or one characteristic of it, call nobody until a person puts it back.

    Parameters
    ----------
    engine : Engine
    press_id : int
    key : str or None
        The characteristic; None for all of the press.
    who, reason : str
    clock : ServiceClock

    Returns
    -------
    int
        Number of what was set aside, for :func:`put_back`.

    Raises
    ------
    NotAllowed
        Nobody or no reason is named, or it is out of service already.
    """
    _given(who, reason)
    with write(engine) as conn:
        presses.lock(conn, press_id)
        doer = Doer(who=who, clock=clock, now=clock.now(), note=reason.strip())
        _not_yet_out(conn, press_id, key)
        number = set_asides.begin(conn, {
            "kind": OUT_OF_SERVICE, "press_id": press_id, "key": key, "at": doer.now, "who": who,
            "reason": reason.strip(),
        })  # fmt: skip
        _journal(conn, "out of service", press_id, key, doer)
        out = {each.key for each in set_asides.out_of_service(conn, press_id)}
        for alarm in alarm_store.unclosed(conn, press_id=press_id):
            if is_out(alarm, out) and lifecycle.may(stage_of_row(alarm), "take_out"):
                _end_shelf(conn, alarm.id, doer)
                carry_out(conn, alarm, "take_out", {}, doer)
    return number


def put_back(
    engine: sa.Engine, set_aside_id: int, *, who: str, clock: ServiceClock, reason: str | None = None
) -> None:
    """Put what is out of service back; its alarms call again where the condition is there.

    Raises
    ------
    NotAllowed
        Nobody is named, or nothing of that number is out of service.
    """
    named(who)
    with write(engine) as conn:
        found = set_asides.get(conn, set_aside_id)
        if found is None or found.kind != OUT_OF_SERVICE or found.press_id is None:
            raise NotAllowed(f"nothing with the number {set_aside_id} is out of service; reload the page")
        presses.lock(conn, found.press_id)
        if _still_lasts(conn, set_aside_id) is None:
            raise NotAllowed("it was put back already; reload the page")
        doer = Doer(who=who, clock=clock, now=clock.now(), note=reason)
        set_asides.end(conn, set_aside_id, at=doer.now, who=who, reason=reason)
        _journal(conn, "back in service", found.press_id, found.key, doer)
        out = {each.key for each in set_asides.out_of_service(conn, found.press_id)}
        for alarm in alarm_store.unclosed(conn, press_id=found.press_id):
            if alarm.state == OUT_OF_SERVICE and not is_out(alarm, out):
                carry_out(conn, alarm, "put_back", {}, doer)


def is_out(alarm: AlarmRow, out: Iterable[str | None]) -> bool:
    """Whether all that an alarm is about is out of service."""
    out = set(out)
    keys = {item["key"] for item in alarm.characteristics}
    return None in out or (bool(keys) and keys <= out)


def _given(who: str, reason: str) -> None:
    named(who)
    if not reason.strip():
        raise NotAllowed("give the reason in a few words, such as what is being repaired")


def _end(until: datetime | None, now: datetime, longest: timedelta) -> datetime:
    if until is None:
        raise NotAllowed("say until when: an alarm is not shelved without an end")
    if until <= now:
        raise NotAllowed("the end of the shelf is past; choose a later one")
    if until - now > longest:
        hours = longest.total_seconds() / 3600
        raise NotAllowed(
            f"an alarm is shelved for {hours:g} h at most; for longer, take what it is about out of service"
        )
    return until


def _why_due(shelf: SetAside, now: datetime) -> str | None:
    """Why a shelf is over, None while it is not."""
    if shelf.kind != SHELVED or shelf.until is None:
        return None
    if now >= shelf.until:
        return "its time is over"
    return "the clock was set back behind the time it was shelved" if now < shelf.at else None


def _unshelve(conn: sa.Connection, alarm: AlarmRow, doer: Doer) -> None:
    carry_out(conn, alarm, "unshelve", {}, doer)
    _end_shelf(conn, alarm.id, doer)


def _end_shelf(conn: sa.Connection, alarm_id: int, doer: Doer) -> None:
    shelf = set_asides.shelf_of(conn, alarm_id)
    if shelf is not None:
        set_asides.end(conn, shelf.id, at=doer.now, who=doer.who, reason=doer.note)


def _not_yet_out(conn: sa.Connection, press_id: int, key: str | None) -> None:
    for each in set_asides.out_of_service(conn, press_id):
        if each.key in (None, key):
            raise NotAllowed(f"it is out of service already, by {each.who}: {each.reason}")


def _still_lasts(conn: sa.Connection, set_aside_id: int) -> SetAside | None:
    return next((each for each in set_asides.lasting(conn) if each.id == set_aside_id), None)


def _journal(conn: sa.Connection, action: str, press_id: int, key: str | None, doer: Doer) -> None:
    press = alarm_store.press_of(conn, press_id)["name"]
    subject = f"press {press}" if key is None else f"press {press}, {key}"
    journal.append(
        conn, at=doer.now, wall_at=doer.clock.wall(), who=doer.who, action=action, subject=subject,
        why=doer.note,
    )  # fmt: skip
