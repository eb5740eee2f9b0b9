"""What a person does about an alarm: say "I have it", and later say what it was.

Neither touches the press or its own alarms, and closing an alarm here clears no hazard there.
"""

from __future__ import annotations

import sqlalchemy as sa

from collector.actions.alarm_steps import carry_out, take_in_hand
from collector.actions.doer import Doer, named
from collector.alarms import lifecycle
from collector.alarms.working import stage_of_row
from collector.clock import ServiceClock
from collector.errors import NotAllowed
from collector.store import alarms as alarm_store
from collector.store import holds as hold_store
from collector.store import places, restarts
from collector.store.alarms import AlarmRow
from collector.store.database import write

UNKNOWN_CAUSE = "unknown after checks"
RESTART = "restart"  # a step that tells of what was done about another alarm


def acknowledge(
    engine: sa.Engine, alarm_id: int, *, who: str, clock: ServiceClock, note: str | None = None
) -> None:
    """Take an alarm in hand. It stays on the list until it is closed with a cause.

    Raises
    ------
    NotAllowed
        Nobody is named, there is no such alarm, somebody has it already, or it is kept quiet.
    """
    named(who)
    with write(engine) as conn:
        alarm = take_in_hand(conn, alarm_id)
        _has_nobody(alarm)
        doer = Doer(who=who, clock=clock, now=clock.now(), note=note)
        carry_out(conn, alarm, "acknowledge", {"acknowledged_by": who, "acknowledged_at": doer.now}, doer)


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
    """Close an alarm with its cause. While its discs are on hold it stays latched.

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
        Let the charts of the press start anew with the next shot, as after any cause that was dealt with. Of
        an alarm of the data: only those of the values in doubt, which are learned anew.

    Raises
    ------
    NotAllowed
        Nobody or no cause is named, there is no such alarm, it is not acknowledged, it is kept quiet, it is
        closed, or it is still active and the charts are not to start anew.
    """
    named(who)
    if not cause.strip():
        raise NotAllowed(f'an alarm is closed with a cause; "{UNKNOWN_CAUSE}" is one')
    with write(engine) as conn:
        alarm = take_in_hand(conn, alarm_id)
        doer = Doer(who=who, clock=clock, now=clock.now(), note=note)
        charted = alarm.press_id is not None and alarm.kind not in ("silence", "gauging")
        _may_close(alarm, restart_charts=restart_charts, charted=charted)
        active = stage_of_row(alarm).active
        if active:
            _end_holds(conn, alarm)
        changes = {"closed_by": who, "closed_at": doer.now, "cause": cause.strip(), "note": note}
        carry_out(conn, alarm, "close", changes, doer)
        if restart_charts and charted and alarm.kind == "data":
            _believe_from_now_on(conn, alarm, cause.strip(), doer, active=active)
        elif restart_charts and charted:
            _restart_charts(conn, alarm, cause.strip(), doer)


def _has_nobody(alarm: AlarmRow) -> None:
    """Two people at two tablets: the second hears whom to ask, not only that something was refused."""
    if alarm.state == "active_acknowledged" and alarm.acknowledged_by:
        raise NotAllowed(f"{alarm.acknowledged_by} has it already: there is nothing left to acknowledge")


def _may_close(alarm: AlarmRow, *, restart_charts: bool, charted: bool) -> None:
    stage = stage_of_row(alarm)
    if not stage.active or not lifecycle.may(stage, "close"):
        return
    if not charted:
        raise NotAllowed(f"alarm {alarm.id} is still active: close it after it cleared")
    if not restart_charts:
        raise NotAllowed(
            f"alarm {alarm.id} is still active: let the charts start anew, or close it after it cleared"
        )


def _restart_charts(conn: sa.Connection, alarm: AlarmRow, cause: str, doer: Doer) -> None:
    """Ask for it, and say so at the alarms that go on: their charts forget what they had gathered."""
    assert alarm.press_id is not None  # the service itself has no charts
    why = f"alarm {alarm.id} closed: {cause}"
    restarts.ask(conn, alarm.press_id, at=doer.now, who=doer.who, why=why)
    for other in alarm_store.unclosed(conn, press_id=alarm.press_id):
        if other.kind != "silence" and stage_of_row(other).active:
            note = f"alarm {alarm.id} was closed; whether this one is over, the values decide"
            alarm_store.add_step(
                conn, other.id, at=doer.now, event=RESTART, before=other.state, after=other.state,
                who=doer.who, note=note,
            )  # fmt: skip


def _believe_from_now_on(
    conn: sa.Connection, alarm: AlarmRow, cause: str, doer: Doer, *, active: bool
) -> None:
    """Values that are still in doubt are learned anew: a person says that they are as they should be."""
    assert alarm.press_id is not None  # the service itself reports no values
    why = f"alarm {alarm.id} closed: {cause}"
    for key in [item["key"] for item in alarm.characteristics] if active else ():
        restarts.ask(conn, alarm.press_id, at=doer.now, who=doer.who, why=why, key=key)


def _end_holds(conn: sa.Connection, alarm: AlarmRow) -> None:
    """What was made until now belongs to the hold; the next shot meets fresh charts."""
    newest = None if alarm.press_id is None else places.newest(conn, alarm.press_id)
    for hold in hold_store.of_alarm(conn, alarm.id):
        if hold.state == hold_store.OPEN and hold.to_shot_id is None:
            hold_store.change(conn, hold.id, {"to_shot_id": newest})
