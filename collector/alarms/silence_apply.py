"""From verdicts about silence to alarms: opened, called again, kept quiet, cleared. One transaction each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import sqlalchemy as sa

from collector.alarms import lifecycle
from collector.alarms.announce import announce, whose
from collector.alarms.lifecycle import AlarmEvent, Stage
from collector.alarms.silence import GATEWAY, Verdict
from collector.alarms.working import stage_of_row
from collector.clock import Moment
from collector.store import alarms as alarm_store
from collector.store import presses, set_asides
from collector.store.alarms import AlarmRow
from collector.store.database import read, write

KIND = "silence"


@dataclass(frozen=True, slots=True)
class _Change:
    """What a verdict does to its alarm."""

    verdict: Verdict
    moment: Moment
    events: tuple[AlarmEvent, ...]


def apply(engine: sa.Engine, verdicts: Sequence[Verdict], *, site: str, moment: Moment) -> list[str]:
    """Bring the alarms of silence to what the verdicts say.

    Parameters
    ----------
    engine : Engine
    verdicts : sequence of Verdict
        From :mod:`collector.alarms.silence`.
    site : str
        Whose service raises the alarms that belong to no press.
    moment : Moment

    Returns
    -------
    list of str
        One line for each alarm that took a step.
    """
    with read(engine) as conn:
        known = {(row.subject, row.press_id): row for row in alarm_store.silences(conn)}
    changed = [each for each in verdicts if _has_news(each, known.get((each.subject, each.press_id)))]
    lines = []
    for verdict in changed:
        with write(engine) as conn:
            lines += _one(conn, verdict, site=site, moment=moment)
    return lines


def events_for(verdict: Verdict, stage: Stage) -> tuple[AlarmEvent, ...]:
    """The events of the life cycle that a verdict means for an alarm of its subject. Pure."""
    if verdict.says == "silent":
        begins: tuple[AlarmEvent, ...] = () if stage.active else ("reoccur" if stage.occurred else "occur",)
        return (*begins, "unsuppress") if stage.aside == "suppressed_by_design" else begins
    if not stage.active:
        return ()
    if verdict.says == "standing":
        return () if stage.aside else ("suppress",)
    return ("clear", "unsuppress") if stage.aside == "suppressed_by_design" else ("clear",)


def _has_news(verdict: Verdict, row: AlarmRow | None) -> bool:
    stage = Stage() if row is None else stage_of_row(row)
    return bool(events_for(verdict, stage)) or _reworded(verdict, row)


def _reworded(verdict: Verdict, row: AlarmRow | None) -> bool:
    """A gateway behind which more presses fell silent; how long a press is silent is not said anew."""
    if row is None or verdict.says != "silent" or not stage_of_row(row).active:
        return False
    names_presses = verdict.subject.startswith(GATEWAY)
    return names_presses and verdict.headline != row.headline


def _one(conn: sa.Connection, verdict: Verdict, *, site: str, moment: Moment) -> list[str]:
    if verdict.press_id is not None:
        presses.lock(conn, verdict.press_id)
    found = [row for row in alarm_store.silences(conn) if _same(row, verdict)]
    row = found[-1] if found else None
    stage = Stage() if row is None else stage_of_row(row)
    events = events_for(verdict, stage)
    if row is None:
        if not events:
            return []
        row = _open(conn, verdict, site=site, moment=moment)
        if _is_out(conn, verdict.press_id):
            events = (*events, "take_out")
    change = _Change(verdict, moment, events)
    _write(conn, row, stage, change)
    return _say(conn, row.id, events, moment)


def _same(row: AlarmRow, verdict: Verdict) -> bool:
    return (row.subject, row.press_id) == (verdict.subject, verdict.press_id)


def _is_out(conn: sa.Connection, press_id: int | None) -> bool:
    return press_id is not None and any(
        each.key is None for each in set_asides.out_of_service(conn, press_id)
    )


def _open(conn: sa.Connection, verdict: Verdict, *, site: str, moment: Moment) -> AlarmRow:
    alarm_id = alarm_store.open_new(conn, {
        "press_id": verdict.press_id, "site": site, "subject": verdict.subject, "kind": KIND,
        "state": "active_unacknowledged", "opened_at": moment.now, "changed_at": moment.now, "quiet_shots": 0,
        "characteristics": [], "headline": verdict.headline,
    })  # fmt: skip
    row = alarm_store.get(conn, alarm_id)
    assert row is not None  # in this transaction
    return row


def _write(conn: sa.Connection, row: AlarmRow, stage: Stage, change: _Change) -> None:
    at = change.moment.now
    for event in change.events:
        before, stage = stage, lifecycle.step(stage, event)
        alarm_store.add_step(
            conn, row.id, at=at, event=event, before=before.state if before.occurred else None,
            after=stage.state, note=change.verdict.note,
        )
    written: dict[str, object] = {"changed_at": at}
    if change.verdict.says == "silent":
        written["headline"] = change.verdict.headline
    if change.events:
        written |= {"state": stage.state, "beneath": stage.beneath if stage.aside else None}
    if stage.active and not stage.acknowledged:
        written |= {"acknowledged_by": None, "acknowledged_at": None}
    alarm_store.change(conn, row.id, written)


def _say(conn: sa.Connection, alarm_id: int, events: Sequence[AlarmEvent], moment: Moment) -> list[str]:
    """Announce it, unless something keeps it quiet."""
    row = alarm_store.get(conn, alarm_id)
    assert row is not None  # in this transaction
    if row.beneath is not None:
        return []
    place = whose(conn, row)
    what = ", ".join(events) or "reworded"
    line = f"{place.name} alarm {row.id} {what}, {row.state.replace('_', ' ')}: {row.headline}"
    announce(conn, place, now=moment.now, wall=moment.wall, what=[line])
    return [line]
