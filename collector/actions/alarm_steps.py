"""One step in the life of an alarm with all that belongs to it: row, step, journal, messages.

The press is locked first. A batch of its shots moves the same alarms, and two tablets may be answered at
once: whoever comes second sees what the first did.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import sqlalchemy as sa

from collector.actions.doer import Doer
from collector.alarms import lifecycle
from collector.alarms.announce import announce, whose
from collector.alarms.lifecycle import AlarmEvent
from collector.alarms.working import stage_of_row
from collector.errors import NotAllowed
from collector.store import alarms as alarm_store
from collector.store import journal, presses
from collector.store.alarms import AlarmRow


def take_in_hand(conn: sa.Connection, alarm_id: int) -> AlarmRow:
    """One alarm as it stands, which nothing else changes before this transaction ends.

    Raises
    ------
    NotAllowed
        There is no such alarm.
    """
    alarm = _alarm(conn, alarm_id)
    if alarm.press_id is None:
        alarm_store.lock(conn, alarm_id)
    else:
        presses.lock(conn, alarm.press_id)
    return _alarm(conn, alarm_id)


def carry_out(
    conn: sa.Connection,
    alarm: AlarmRow,
    event: AlarmEvent,
    changes: Mapping[str, Any],
    doer: Doer,
    *,
    journaled: Mapping[str, Any] | None = None,
) -> AlarmRow:
    """Carry out one event of the life cycle.

    Parameters
    ----------
    conn : Connection
    alarm : AlarmRow
        From :func:`take_in_hand`.
    event : AlarmEvent
    changes : mapping of str to object
        Further columns to write.
    doer : Doer
    journaled : mapping of str to JSON value, optional
        What the journal is to keep besides what changed.

    Returns
    -------
    AlarmRow
        As it stands afterwards.

    Raises
    ------
    NotAllowed
        The event is not possible now.
    """
    written = written_by(alarm, event) | dict(changes) | {"changed_at": doer.now}
    state = written["state"]
    alarm_store.change(conn, alarm.id, written)
    alarm_store.add_step(
        conn, alarm.id, at=doer.now, event=event, before=alarm.state, after=state, who=doer.who,
        note=doer.note,
    )  # fmt: skip
    after = _alarm(conn, alarm.id)
    journal.append(
        conn,
        at=doer.now,
        wall_at=doer.clock.wall(),
        who=doer.who,
        action=f"alarm {event}",
        subject=f"alarm {alarm.id}",
        before=alarm_store.as_values(alarm, list(written)),
        after=alarm_store.as_values(after, list(written)) | dict(journaled or {}),
        why=doer.note,
    )
    press = whose(conn, alarm)
    line = f"{press.name} alarm {alarm.id} {event} by {doer.who}, {state.replace('_', ' ')}: {alarm.headline}"
    announce(conn, press, now=doer.now, wall=doer.clock.wall(), what=[line])
    return after


def written_by(alarm: AlarmRow, event: AlarmEvent) -> dict[str, Any]:
    """The columns of an alarm that an event of the life cycle writes.

    Raises
    ------
    NotAllowed
        The event is not possible now.
    """
    stage = lifecycle.step(stage_of_row(alarm), event)
    written: dict[str, Any] = {"state": stage.state, "beneath": stage.beneath if stage.aside else None}
    if stage.active and not stage.acknowledged:
        written |= {"acknowledged_by": None, "acknowledged_at": None}
    return written


def _alarm(conn: sa.Connection, alarm_id: int) -> AlarmRow:
    alarm = alarm_store.get(conn, alarm_id)
    if alarm is None:
        raise NotAllowed(f"there is no alarm {alarm_id}; reload the page")
    return alarm
