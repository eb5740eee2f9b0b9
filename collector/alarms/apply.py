"""From the verdicts of a batch to alarms, holds, steps and messages, inside the batch's transaction."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from functools import partial
from typing import Any

import sqlalchemy as sa

from collector.alarms import change, comeback, evidence, grouping
from collector.alarms.announce import announce, sentence
from collector.alarms.change import Change
from collector.alarms.containment import HOLDS_NOTHING, Touched, contain
from collector.alarms.diagnosis import Matter, causes_of
from collector.alarms.headline import headline
from collector.alarms.model import Moved, PressRef, ShotVerdict
from collector.alarms.pools import Out, Pool, pools
from collector.alarms.working import IN_DOUBT, Working
from collector.store import alarms as alarm_store
from collector.store import set_asides
from collector.store.tables import shots, signals


@dataclass(frozen=True, slots=True, kw_only=True)
class _Batch:
    conn: sa.Connection
    press: PressRef
    now: datetime
    charts_since_shot_id: int | None


def process(
    conn: sa.Connection,
    press: PressRef,
    verdicts: Sequence[ShotVerdict],
    *,
    now: datetime,
    wall: datetime,
    charts_since_shot_id: int | None,
) -> None:
    """Group the signals of a batch into alarms, and write everything that follows from them.

    Parameters
    ----------
    conn : Connection
        The transaction that stored the shots and their signals.
    press : PressRef
        The press of all these shots.
    verdicts : sequence of ShotVerdict
        In the order in which the charts saw the shots.
    now, wall : datetime
        Floor time, and wall time for the outbox.
    charts_since_shot_id : int or None
        First shot since the charts last started anew; a change cannot have begun before it.
    """
    in_hand = [
        Working.from_row(row)
        for row in alarm_store.open_to_signals(conn, press_id=press.id, within=grouping.JOIN_WITHIN_SHOTS)
    ]
    if not in_hand and not any(verdict.signals for verdict in verdicts):
        return
    batch = _Batch(conn=conn, press=press, now=now, charts_since_shot_id=charts_since_shot_id)
    out = {each.key for each in set_asides.out_of_service(conn, press.id)}
    for alarm in in_hand:
        alarm.call_anew(now)
    for verdict in verdicts:
        _work_in(batch, in_hand, verdict, out)
    _doubt(conn, in_hand)
    lines = [line for alarm in in_hand if alarm.touched for line in _write(batch, alarm)]
    reworded = any(alarm.reworded and not alarm.quiet for alarm in in_hand)
    if lines or reworded or _new_tray(batch, in_hand, verdicts):
        announce(conn, press, now=now, wall=wall, what=lines)


def _doubt(conn: sa.Connection, in_hand: Sequence[Working]) -> None:
    """What rests on values that came into doubt says so, once, and names the sensor first."""
    doubted = {key for alarm in in_hand if alarm.kind == "data" and alarm.to_judge for key in alarm.moved}
    for alarm in in_hand:
        if alarm.kind == "process" and alarm.stage.active and alarm.moved.keys() <= doubted:
            said = alarm_store.steps(conn, alarm.row_id) if alarm.row_id is not None else []
            if not any(step.note == IN_DOUBT for step in said):
                alarm.doubt()


def _work_in(batch: _Batch, in_hand: list[Working], verdict: ShotVerdict, out: Out) -> None:
    """Give one shot to the alarms; a new alarm joins the list."""
    took: set[int] = set()
    says_over = partial(comeback.over, batch.conn, batch.press.id, batch.charts_since_shot_id)
    for pool in pools(verdict, in_hand, out):
        took |= _join(in_hand, verdict, pool)
    for alarm in in_hand:
        if alarm.ref not in took and alarm.candidate().open_to_signals:
            alarm.pass_over(verdict, says_over)


def _join(in_hand: list[Working], verdict: ShotVerdict, pool: Pool) -> set[int]:
    """Give the signals of a pool to its alarms, or to new ones; returns which took some."""
    took = set()
    for group in grouping.assign(pool.facts, [alarm.candidate() for alarm in pool.alarms]):
        alarm = next((one for one in pool.alarms if one.ref == group.ref), None)
        if alarm is None:
            ref = min((one.ref for one in in_hand), default=0)
            alarm = Working(ref=min(ref, 0) - 1, kind=group.kind, run_id=verdict.run_id)  # below every row
            in_hand.append(alarm)
        alarm.take(verdict, group.facts)
        if pool.out:
            alarm.take_out()
        took.add(alarm.ref)
    return took


def _new_tray(batch: _Batch, in_hand: Sequence[Working], verdicts: Sequence[ShotVerdict]) -> bool:
    """Whether a growing hold reached another tray, so that what to set aside has to be said again."""
    if not any(alarm.stage.active and not (alarm.single or alarm.quiet) for alarm in in_hand):
        return False
    previous = sa.select(shots.c.tray).where(
        shots.c.press_id == batch.press.id, shots.c.id < verdicts[0].shot_id
    )
    before = batch.conn.execute(previous.order_by(shots.c.id.desc()).limit(1)).scalar()
    return any(verdict.tray != before for verdict in verdicts)


def _write(batch: _Batch, alarm: Working) -> list[str]:
    """Write one alarm and what hangs on it; return the log lines that this calls for."""
    alarm_id = _save_row(batch, alarm)
    if alarm.signal_ids:
        batch.conn.execute(
            sa.update(signals).where(signals.c.id.in_(alarm.signal_ids)).values(alarm_id=alarm_id)
        )
    if alarm.to_judge:
        _judge(batch, alarm, alarm_id)
    if (alarm.signal_ids or alarm.steps) and alarm.kind not in HOLDS_NOTHING:
        contain(batch.conn, _touched(batch, alarm), now=batch.now)
    for step in alarm.steps:
        alarm_store.add_step(
            batch.conn, alarm_id, at=batch.now, event=step.event, before=step.before, after=step.after,
            note=step.note,
        )  # fmt: skip
    return _log_lines(batch, alarm)


def _save_row(batch: _Batch, alarm: Working) -> int:
    values: dict[str, Any] = {
        "state": alarm.stage.state, "beneath": alarm.stage.beneath if alarm.quiet else None,
        "quiet_shots": alarm.quiet_shots, "last_shot_id": alarm.last_shot_id,
        "characteristics": [item.to_json() for item in _ordered(alarm)],
    }  # fmt: skip
    if alarm.steps:
        values["changed_at"] = batch.now
    if any(step.event in ("reoccur", "realarm") for step in alarm.steps):
        values |= {"acknowledged_by": None, "acknowledged_at": None}
    if alarm.row_id is not None:
        alarm_store.change(batch.conn, alarm.row_id, values)
        return alarm.row_id
    alarm.row_id = alarm_store.open_new(batch.conn, values | {
        "press_id": batch.press.id, "run_id": alarm.run_id, "kind": alarm.kind, "opened_at": batch.now,
        "first_shot_id": alarm.first_shot_id, "headline": headline(alarm.kind, list(alarm.moved.values())),
    })  # fmt: skip
    return alarm.row_id


def _judge(batch: _Batch, alarm: Working, alarm_id: int) -> None:
    """Date the change from the stored values; say what moved, since when, and what it is often seen with."""
    facts = evidence.signaled(batch.conn, alarm_id)
    series = evidence.series(
        batch.conn, batch.press.id, list(facts.values()), since_shot_id=batch.charts_since_shot_id
    )
    changes = {one.key: change.judge(one) for one in series}
    recipe = evidence.recipe_setpoints(batch.conn, alarm.run_id) if alarm.kind == "recipe" else {}
    # A characteristic whose signals a replay withdrew keeps what was said about it.
    alarm.moved |= {
        key: _level(alarm.moved[key], changes.get(key), recipe.get(key), fact)
        for key, fact in facts.items()
        if key in alarm.moved
    }
    alarm.say(headline(alarm.kind, list(alarm.moved.values())))
    values = {
        "headline": alarm.headline,
        "characteristics": [item.to_json() for item in _ordered(alarm)],
    }
    alarm_store.change(batch.conn, alarm_id, values | _dated(batch, alarm, changes))
    found = causes_of(batch.conn, _matter(batch, alarm, facts.values()), list(facts.values()))
    alarm_store.change(batch.conn, alarm_id, {"causes": found})


def _dated(batch: _Batch, alarm: Working, changes: dict[str, Change]) -> dict[str, int | None]:
    """When it began; an alarm that was there before the charts started anew keeps its older date."""
    since = batch.charts_since_shot_id
    if alarm.change_shot_id is not None and since is not None and alarm.change_shot_id < since:
        return {}
    first = change.earliest(_leading(changes))
    if first is None:
        assert alarm.row_id is not None  # it has been saved
        assert alarm.first_shot_id is not None  # it began with a signal
        began = evidence.first_of_run(
            batch.conn, batch.press.id, alarm_id=alarm.row_id, shot_id=alarm.first_shot_id
        )
        return {
            "change_shot_id": began, "change_low_shot_id": began, "change_high_shot_id": alarm.first_shot_id
        }
    return {
        "change_shot_id": first.shot_id,
        "change_low_shot_id": first.low_shot_id,
        "change_high_shot_id": first.high_shot_id,
    }


def _leading(changes: dict[str, Change]) -> list[Change]:
    """A single bad shot does not date a lasting change of something else."""
    lasting = [one for one in changes.values() if not one.single]
    return lasting or list(changes.values())


def _level(item: Moved, found: Change | None, recipe: float | None, fact: evidence.Signaled) -> Moved:
    if found is None:
        return replace(item, before=item.before if recipe is None else recipe, single=False)
    shots = len(fact.far_out) if found.single else item.shots
    before = found.before if recipe is None else recipe
    return replace(item, single=found.single, before=before, after=found.after, shots=shots)


def _matter(batch: _Batch, alarm: Working, facts: Iterable[evidence.Signaled]) -> Matter:
    row = _row(batch, alarm)
    assert row.first_shot_id is not None  # an alarm begins with a signal
    first = row.change_shot_id or row.first_shot_id
    return Matter(
        press_id=batch.press.id, kind=alarm.kind, moved=tuple(alarm.moved.values()), single=alarm.single,
        low_shot_id=row.change_low_shot_id or first, first_shot_id=first,
        high_shot_id=row.change_high_shot_id or first, last_shot_id=row.last_shot_id or first,
        bad_shots=frozenset(shot for fact in facts for shot in fact.far_out),
    )  # fmt: skip


def _touched(batch: _Batch, alarm: Working) -> Touched:
    row = _row(batch, alarm)
    assert alarm.first_shot_id is not None  # an alarm begins with a signal
    ends = not alarm.stage.active or alarm.single
    last = _last_bad_shot(batch.conn, row.id) if alarm.single else None
    last = alarm.last_shot_id if last is None else last
    return Touched(
        alarm_id=row.id, press_id=batch.press.id, run_id=alarm.run_id,
        first_shot_id=row.change_low_shot_id or alarm.first_shot_id, last_shot_id=last if ends else None,
        fresh_shot_id=alarm.first_new_shot_id, reason=row.headline,
    )  # fmt: skip


def _last_bad_shot(conn: sa.Connection, alarm_id: int) -> int | None:
    """The charts may go on signaling after a bad shot, but the discs after it are as usual."""
    facts = evidence.signaled(conn, alarm_id).values()
    return max((shot for fact in facts for shot in fact.far_out), default=None)


def _log_lines(batch: _Batch, alarm: Working) -> list[str]:
    if not alarm.steps or alarm.quiet:
        return []
    row = _row(batch, alarm)
    events = ", ".join(step.event for step in alarm.steps)
    says = f"{batch.press.name} alarm {row.id} {events}, {row.state.replace('_', ' ')}"
    return [f"{says}: {sentence(batch.conn, row)}"]


def _row(batch: _Batch, alarm: Working) -> alarm_store.AlarmRow:
    assert alarm.row_id is not None  # it has been saved
    row = alarm_store.get(batch.conn, alarm.row_id)
    assert row is not None  # in this transaction
    return row


def _ordered(alarm: Working) -> list[Moved]:
    return sorted(alarm.moved.values(), key=lambda item: (item.single, -item.share))
