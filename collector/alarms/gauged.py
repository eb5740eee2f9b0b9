"""Discs out of tolerance: one alarm for those between two good ones, with a hold of all that lies between.

A gauging is of one moment, so its condition does not last; the alarm stays latched until a person has decided
about the discs on hold.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from collector.alarms import cautions, lifecycle
from collector.alarms.announce import announce
from collector.alarms.containment import Touched, contain
from collector.alarms.grouping import JOIN_WITHIN_SHOTS
from collector.alarms.headline import out_of_tolerance
from collector.alarms.lifecycle import AlarmEvent, Stage
from collector.alarms.model import Moved, PressRef
from collector.alarms.working import stage_of_row
from collector.clock import Moment
from collector.contract import quantities
from collector.gauging.outside import Bounds, Group, Reading, groups
from collector.store import alarms as alarm_store
from collector.store import holds as hold_store
from collector.store import presses, unjudged
from collector.store.alarms import AlarmRow
from collector.store.tables import alarms
from collector.store.tables import holds as holds_table
from collector.store.unjudged import Gauged

KIND = "gauging"
TAKEN_BACK = "no gauging of it is outside the tolerance any more"
CAUSE = {
    "cause": "A disc out of tolerance, or a gauging that went wrong",
    "reason": "The gauge found it; what the press did is told by its own alarms.",
    "checks": [
        "Gauge the disc again: same way up, at rest, at the usual temperature, with the usual gauge.",
        "Gauge its neighbors in the held trays, the first and the last first.",
        "Compare the label of the tray with the form.",
    ],
    "technician_checks": ["Compare with the alarms of the press in that time."],
    "cautions": list(cautions.words(())),
}  # fmt: skip

_MOMENTARY: tuple[AlarmEvent, ...] = ("occur", "hold", "clear")

Tolerances = Mapping[str, Mapping[str, Bounds]]


@dataclass(frozen=True, slots=True)
class Found:
    """A group of discs outside of the tolerance, of which run, and when that was found."""

    gauged: Gauged
    group: Group
    bounds: Bounds
    moment: Moment
    readings: Sequence[Reading]


def judge_new(conn: sa.Connection, tolerances: Tolerances, *, now: datetime, wall: datetime) -> list[int]:
    """Hold new gaugings against their tolerance, and open, grow or note what follows.

    Parameters
    ----------
    conn : Connection
        A writing one.
    tolerances : mapping
        By mold and characteristic.
    now, wall : datetime
        Service time, and wall time for the outbox.

    Returns
    -------
    list of int
        Alarms that said something new.
    """
    told: list[int] = []
    for gauged in unjudged.take(conn):
        bounds = tolerances.get(gauged.mold or "", {}).get(gauged.characteristic)
        if bounds is not None:
            presses.lock(conn, gauged.press_id)  # a person may be deciding about the same alarm and hold
            read = unjudged.readings(conn, gauged.run_id, gauged.characteristic)
            found = [Found(gauged, each, bounds, Moment(now, wall), read) for each in groups(read, bounds)]
            told += _judge(conn, gauged, found, Moment(now, wall))
    _end_holds(conn)
    return told


def _judge(conn: sa.Connection, gauged: Gauged, found: Sequence[Found], moment: Moment) -> list[int]:
    existing = _existing(conn, gauged)
    told = []
    for each in found:
        mine = [alarm for alarm in existing if _is_of(alarm, each.group)]
        open_one = next((alarm for alarm in mine if alarm.closed_at is None), None)
        if open_one is not None:
            told += _grow(conn, open_one, each)
        else:
            told += _reopen(conn, mine, each) if mine else [_open(conn, each)]
    for alarm in existing:
        if alarm.closed_at is None and not any(_is_of(alarm, each.group) for each in found):
            _note_taken_back(conn, alarm, moment)
    return told


def _existing(conn: sa.Connection, gauged: Gauged) -> list[AlarmRow]:
    query = sa.select(alarms.c.id).where(alarms.c.run_id == gauged.run_id, alarms.c.kind == KIND)
    ids = conn.execute(query.order_by(alarms.c.id)).scalars()
    rows = [alarm_store.get(conn, alarm_id) for alarm_id in ids]
    return [row for row in rows if row and row.characteristics[0]["key"] == gauged.characteristic]


def _is_of(alarm: AlarmRow, group: Group) -> bool:
    """Whether an alarm is about discs between the same good ones."""
    assert alarm.first_shot_id is not None  # a gauging alarm begins with a disc
    assert alarm.last_shot_id is not None
    return group.holds(alarm.first_shot_id) or group.holds(alarm.last_shot_id)


def _open(conn: sa.Connection, found: Found) -> int:
    moment, stage = found.moment, Stage()
    for event in _MOMENTARY:
        stage = lifecycle.step(stage, event)
    alarm_id = alarm_store.open_new(conn, _columns(found) | {
        "press_id": found.gauged.press_id, "run_id": found.gauged.run_id, "kind": KIND,
        "state": stage.state, "opened_at": moment.now, "changed_at": moment.now,
        "quiet_shots": JOIN_WITHIN_SHOTS, "causes": [CAUSE],
    })  # fmt: skip
    _hold(conn, alarm_id, found)
    alarm_store.add_step(conn, alarm_id, at=moment.now, event="occur", before=None, after=stage.state)
    _announce(conn, alarm_id, moment, "occur")
    return alarm_id


def _grow(conn: sa.Connection, alarm: AlarmRow, found: Found) -> list[int]:
    """Take further discs in; what somebody has acknowledged calls anew when there are more."""
    columns = _columns(found)
    _hold(conn, alarm.id, found)
    if all(getattr(alarm, name) == value for name, value in columns.items()):
        return []
    more = len(found.group.bad) > alarm.characteristics[0]["shots"]
    stage = stage_of_row(alarm_store.get(conn, alarm.id) or alarm)
    if more and stage.acknowledged and stage.aside is None:
        stage = replace(stage, acknowledged=False)
        columns |= {"state": stage.state, "acknowledged_by": None, "acknowledged_at": None}
    alarm_store.change(conn, alarm.id, columns | {"changed_at": found.moment.now})
    _note(conn, alarm, found.moment, columns["headline"], after=stage.state)
    _announce(conn, alarm.id, found.moment, "grow")
    return [alarm.id]


def _reopen(conn: sa.Connection, closed: Sequence[AlarmRow], found: Found) -> list[int]:
    """Discs that were gauged after a person had closed the alarm of their neighbors are a new matter."""
    last = max(alarm.last_shot_id or 0 for alarm in closed)
    fresh = groups([each for each in found.readings if each.shot_id > last], found.bounds)
    return [
        _open(conn, replace(found, group=replace(each, after_good=each.after_good or last)))
        for each in fresh[:1]
        if found.group.holds(each.bad[0].shot_id)
    ]


def _columns(found: Found) -> dict[str, Any]:
    gauged, group, bounds = found.gauged, found.group, found.bounds
    first, last, worst = group.bad[0].shot_id, group.bad[-1].shot_id, group.worst.value
    moved = Moved(
        key=gauged.characteristic, direction=1 if bounds.excess(worst) > 0 else -1,
        before=bounds.nearest(worst), after=worst, unit=gauged.unit, share=0.0, shots=len(group.bad),
        single=False, how="out_of_tolerance",
    )  # fmt: skip
    return {
        "headline": out_of_tolerance(moved, bounds.low, bounds.high), "characteristics": [moved.to_json()],
        "first_shot_id": first, "last_shot_id": last, "change_shot_id": first,
        "change_low_shot_id": group.after_good or first, "change_high_shot_id": first,
    }  # fmt: skip


def _hold(conn: sa.Connection, alarm_id: int, found: Found) -> None:
    gauged, group = found.gauged, found.group
    first, last = unjudged.stretch(conn, gauged.run_id, after=group.after_good, before=group.before_good)
    contain(
        conn,
        Touched(
            alarm_id=alarm_id, press_id=gauged.press_id, run_id=gauged.run_id, first_shot_id=first,
            last_shot_id=last, fresh_shot_id=None,
            reason=f"{quantities.label(gauged.characteristic)} out of tolerance",
        ),
        now=found.moment.now,
    )  # fmt: skip


def _end_holds(conn: sa.Connection) -> None:
    """A hold that went on with its run ends with it."""
    c = holds_table.c
    query = (
        sa.select(c.id, c.run_id)
        .join(alarms, alarms.c.id == c.alarm_id)
        .where(alarms.c.kind == KIND, c.state == hold_store.OPEN, c.to_shot_id.is_(None))
    )
    for hold_id, run_id in conn.execute(query).all():
        last = unjudged.end_of(conn, run_id)
        if last is not None:
            hold_store.change(conn, hold_id, {"to_shot_id": last})


def _note_taken_back(conn: sa.Connection, alarm: AlarmRow, moment: Moment) -> None:
    if any(step.note == TAKEN_BACK for step in alarm_store.steps(conn, alarm.id)):
        return
    alarm_store.change(conn, alarm.id, {"changed_at": moment.now})
    _note(conn, alarm, moment, TAKEN_BACK, after=alarm.state)


def _note(conn: sa.Connection, alarm: AlarmRow, moment: Moment, note: str, *, after: str) -> None:
    alarm_store.add_step(
        conn, alarm.id, at=moment.now, event="grow", before=alarm.state, after=after, note=note
    )


def _announce(conn: sa.Connection, alarm_id: int, moment: Moment, event: str) -> None:
    row = alarm_store.get(conn, alarm_id)
    assert row is not None  # written in this transaction
    assert row.press_id is not None  # a disc comes from a press
    press = PressRef(id=row.press_id, **alarm_store.press_of(conn, row.press_id))
    says = f"{press.name} alarm {row.id} {event}, {row.state.replace('_', ' ')}: {row.headline}"
    announce(conn, press, now=moment.now, wall=moment.wall, what=[says])
