"""What a person does about an alarm: say "I have it", and later say what it was.

Neither touches the press or its own alarms, and closing an alarm here clears no hazard there.
"""

from __future__ import annotations

from datetime import datetime
from typing import Any

import sqlalchemy as sa

from collector.alarms import lifecycle
from collector.alarms.announce import announce
from collector.alarms.lifecycle import AlarmEvent, Stage
from collector.alarms.model import PressRef
from collector.clock import ServiceClock
from collector.errors import NotAllowed
from collector.store import alarms as alarm_store
from collector.store import holds as hold_store
from collector.store import journal, restarts
from collector.store.alarms import AlarmRow
from collector.store.database import write
from collector.store.tables import shots

UNKNOWN_CAUSE = "unknown after checks"


def acknowledge(
    engine: sa.Engine, alarm_id: int, *, who: str, clock: ServiceClock, note: str | None = None
) -> None:
    """Take an alarm in hand. It stays on the list until it is closed with a cause.

    Raises
    ------
    NotAllowed
        Nobody is named, there is no such alarm, or it is acknowledged already.
    """
    _named(who)
    with write(engine) as conn:
        alarm = _alarm(conn, alarm_id)
        now = clock.now()
        changes = {"acknowledged_by": who, "acknowledged_at": now}
        _carry_out(conn, alarm, "acknowledge", changes, who=who, clock=clock, now=now, note=note)


def close(
    engine: sa.Engine,
    alarm_id: int,
    *,
    who: str,
    clock: ServiceClock,
    cause: str,
    note: str | None = None,
    restart_charts: bool = True,
) -> None:
    """Close an alarm with its cause.

    Parameters
    ----------
    engine : Engine
        The store.
    alarm_id : int
        The alarm.
    who : str
        Who closes it.
    clock : ServiceClock
        For the time of it.
    cause : str
        What it was; "unknown after checks" is a cause.
    note : str, optional
        What was done.
    restart_charts : bool
        Let the charts of the press start anew with the next shot, as after any cause that was dealt with.

    Raises
    ------
    NotAllowed
        Nobody or no cause is named, there is no such alarm, it is not acknowledged, it is closed, or it is
        still active and the charts are not to start anew.
    """
    _named(who)
    if not cause.strip():
        raise NotAllowed(f'an alarm is closed with a cause; "{UNKNOWN_CAUSE}" is one')
    with write(engine) as conn:
        alarm = _alarm(conn, alarm_id)
        now = clock.now()
        if _stage(alarm).active and not restart_charts and lifecycle.may(_stage(alarm), "close"):
            raise NotAllowed(
                f"alarm {alarm_id} is still active: let the charts start anew, or close it after it cleared"
            )
        changes = {"closed_by": who, "closed_at": now, "cause": cause.strip(), "note": note}
        if _stage(alarm).active:
            _end_holds(conn, alarm)
        _carry_out(conn, alarm, "close", changes, who=who, clock=clock, now=now, note=note)
        if restart_charts:
            why = f"alarm {alarm_id} closed: {cause.strip()}"
            restarts.ask(conn, alarm.press_id, at=now, who=who, why=why)


def _named(who: str) -> None:
    if not who.strip():
        raise NotAllowed("say who does this: choose a name")


def _alarm(conn: sa.Connection, alarm_id: int) -> AlarmRow:
    alarm = alarm_store.get(conn, alarm_id)
    if alarm is None:
        raise NotAllowed(f"there is no alarm {alarm_id}; reload the page")
    return alarm


def _stage(alarm: AlarmRow) -> Stage:
    return Stage(alarm.state, occurred=True, closed=alarm.closed_at is not None)


def _carry_out(
    conn: sa.Connection,
    alarm: AlarmRow,
    event: AlarmEvent,
    changes: dict[str, Any],
    *,
    who: str,
    clock: ServiceClock,
    now: datetime,
    note: str | None,
) -> None:
    """One step of the life cycle with its row, its journal entry and its messages."""
    state = lifecycle.step(_stage(alarm), event).state
    written = changes | {"state": state, "changed_at": now}
    alarm_store.change(conn, alarm.id, written)
    alarm_store.add_step(
        conn, alarm.id, at=now, event=event, before=alarm.state, after=state, who=who, note=note
    )
    after = _alarm(conn, alarm.id)
    journal.append(
        conn,
        at=now,
        wall_at=clock.wall(),
        who=who,
        action=f"alarm {event}",
        subject=f"alarm {alarm.id}",
        before=alarm_store.as_values(alarm, list(written)),
        after=alarm_store.as_values(after, list(written)),
        why=note,
    )
    press = PressRef(id=alarm.press_id, **alarm_store.press_of(conn, alarm.press_id))
    line = f"{press.name} alarm {alarm.id} {event} by {who}, {state.replace('_', ' ')}: {alarm.headline}"
    announce(conn, press, now=now, wall=clock.wall(), what=[line])


def _end_holds(conn: sa.Connection, alarm: AlarmRow) -> None:
    """What was made until now belongs to the hold; the next shot meets fresh charts."""
    newest = conn.execute(
        sa.select(sa.func.max(shots.c.id)).where(shots.c.press_id == alarm.press_id)
    ).scalar()
    for hold in hold_store.of_alarm(conn, alarm.id):
        if hold.state == hold_store.OPEN and hold.to_shot_id is None:
            hold_store.change(conn, hold.id, {"to_shot_id": newest})
