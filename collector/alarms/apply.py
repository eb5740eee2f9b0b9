"""From the verdicts of a batch to alarms, holds, steps and messages, inside the batch's transaction."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from typing import Any

import sqlalchemy as sa

from collector.alarms import comeback, evidence, grouping, judging
from collector.alarms.announce import announce, sentence
from collector.alarms.containment import HOLDS_NOTHING, Touched, contain
from collector.alarms.headline import headline
from collector.alarms.model import PressRef, ShotVerdict
from collector.alarms.pools import Out, Pool, pools
from collector.alarms.priority import rose
from collector.alarms.working import IN_DOUBT, LASTS, Working
from collector.store import alarms as alarm_store
from collector.store import places, set_asides
from collector.store.tables import shots, signals

_TRAY_BEFORE = (
    sa.select(shots.c.tray)
    .where(shots.c.press_id == sa.bindparam("press_id"), shots.c.id < sa.bindparam("first_shot_id"))
    .order_by(shots.c.id.desc())
    .limit(1)
)

_LAST_SIGNALED = (
    sa.select(shots.c.id)
    .join(signals, signals.c.shot_id == shots.c.id)
    .where(signals.c.alarm_id == sa.bindparam("alarm_id"), signals.c.withdrawn.is_(False))
    .order_by(*places.NEWEST_FIRST)
    .limit(1)
)


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
    signaled = any(verdict.signals for verdict in verdicts)
    out = {each.key for each in set_asides.out_of_service(conn, press.id)} if signaled else set()
    for alarm in in_hand:
        alarm.call_anew(now)
    for verdict in verdicts:
        _work_in(batch, in_hand, verdict, out)
    _doubt(conn, in_hand)
    _ask_anew(in_hand)
    # One of the recipe after those of the process, whose findings it takes.
    touched = sorted((alarm for alarm in in_hand if alarm.touched), key=_takes_findings)
    alarm_store.count_quiet(
        conn, {alarm.ref: alarm.quiet_shots for alarm in touched if alarm.only_passed_over}
    )
    said = [alarm for alarm in touched if not alarm.only_passed_over]
    lines = [line for alarm in said for line in _write(batch, alarm, in_hand)]
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


def _takes_findings(alarm: Working) -> bool:
    return alarm.kind == "recipe" and alarm.row_id is not None


def _ask_anew(in_hand: Sequence[Working]) -> None:
    """What an alarm of the process says moved, the causes named with one of the recipe may not contradict."""
    judged = [alarm for alarm in in_hand if alarm.kind == "process" and alarm.to_judge]
    for alarm in in_hand:
        since = alarm.change_low_shot_id or alarm.first_shot_id
        if alarm.kind == "recipe" and alarm.stage.active and since is not None:
            last = max(alarm.may_be_last(), default=since)
            if any(each.speaks_of(since, last) for each in judged):
                alarm.to_judge = alarm.touched = True


def _work_in(batch: _Batch, in_hand: list[Working], verdict: ShotVerdict, out: Out) -> None:
    """Give one shot to the alarms; a new alarm joins the list."""
    took: set[int] = set()
    says_over = partial(comeback.over, batch.conn, batch.press.id, batch.charts_since_shot_id)
    for pool in pools(verdict, in_hand, out) if verdict.signals else ():
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
    asked = {"press_id": batch.press.id, "first_shot_id": verdicts[0].shot_id}
    before = batch.conn.execute(_TRAY_BEFORE, asked).scalar()
    return any(verdict.tray != before for verdict in verdicts)


def _write(batch: _Batch, alarm: Working, in_hand: Sequence[Working]) -> list[str]:
    """Write one alarm and what hangs on it; return the log lines that this calls for."""
    alarm_id = _open(batch, alarm) if alarm.row_id is None else alarm.row_id
    if alarm.signal_ids:
        batch.conn.execute(
            sa.update(signals).where(signals.c.id.in_(alarm.signal_ids)).values(alarm_id=alarm_id)
        )
        alarm.last_shot_id = places.last(batch.conn, alarm.may_be_last())
    judged, let_go = {}, None
    if alarm.to_judge:
        judged = judging.judge(
            batch.conn, batch.press.id, alarm, since_shot_id=batch.charts_since_shot_id, others=in_hand
        )
        _rise(batch.conn, alarm)
    alarm_store.change(batch.conn, alarm_id, _as_row(batch, alarm) | judged)
    if (alarm.signal_ids or alarm.steps) and alarm.kind not in HOLDS_NOTHING:
        let_go = contain(batch.conn, _touched(batch, alarm, alarm_id), now=batch.now)
    for step in alarm.steps:
        said = (step.note, let_go if step.event == "clear" else None)
        alarm_store.add_step(
            batch.conn, alarm_id, at=batch.now, event=step.event, before=step.before, after=step.after,
            note="; ".join(each for each in said if each) or None,
        )  # fmt: skip
    return _log_lines(batch, alarm, alarm_id)


def _rise(conn: sa.Connection, alarm: Working) -> None:
    """What people were told of as one bad shot calls them anew, once, when it turns out to last."""
    if not (alarm.single_before and rose(alarm.kind, was_single=True, single=alarm.single)):
        return
    assert alarm.row_id is not None  # it was taken up from its row
    if not any(step.note == LASTS for step in alarm_store.steps(conn, alarm.row_id)):
        alarm.rise()


def _as_row(batch: _Batch, alarm: Working) -> dict[str, Any]:
    values: dict[str, Any] = {
        "state": alarm.stage.state, "beneath": alarm.stage.beneath if alarm.quiet else None,
        "quiet_shots": alarm.quiet_shots, "last_shot_id": alarm.last_shot_id,
        "characteristics": alarm.characteristics(),
    }  # fmt: skip
    if alarm.steps:
        values["changed_at"] = batch.now
    if any(step.event in ("reoccur", "realarm") for step in alarm.steps):
        values |= {"acknowledged_by": None, "acknowledged_at": None}
    return values


def _open(batch: _Batch, alarm: Working) -> int:
    """Write a new alarm as far as it is known before it is judged, and return its number."""
    alarm.row_id = alarm_store.open_new(batch.conn, _as_row(batch, alarm) | {
        "press_id": batch.press.id, "run_id": alarm.run_id, "kind": alarm.kind, "opened_at": batch.now,
        "first_shot_id": alarm.first_shot_id, "headline": headline(alarm.kind, list(alarm.moved.values())),
    })  # fmt: skip
    return alarm.row_id


def _touched(batch: _Batch, alarm: Working, alarm_id: int) -> Touched:
    assert alarm.first_shot_id is not None  # an alarm begins with a signal
    ends = not alarm.stage.active or alarm.single
    last = _last_shot(batch.conn, alarm, alarm_id) if ends else None
    return Touched(
        alarm_id=alarm_id, press_id=batch.press.id, run_id=alarm.run_id,
        first_shot_id=alarm.change_low_shot_id or alarm.first_shot_id, last_shot_id=last,
        fresh_shot_id=alarm.first_new_shot_id, reason=alarm.headline,
    )  # fmt: skip


def _last_shot(conn: sa.Connection, alarm: Working, alarm_id: int) -> int | None:
    """The last shot that signaled; of bad shots the last of them, since the discs after it are as usual.

    By their places: a late shot that signaled was the last to be told, not the last to be made.
    """
    facts = evidence.signaled(conn, alarm_id).values() if alarm.single else ()
    bad = places.of(conn, [shot for fact in facts for shot in fact.far_out])
    if bad:
        return max(bad.values(), key=places.order).shot_id
    return conn.execute(_LAST_SIGNALED, {"alarm_id": alarm_id}).scalar() or alarm.last_shot_id


def _log_lines(batch: _Batch, alarm: Working, alarm_id: int) -> list[str]:
    if not alarm.steps or alarm.quiet:
        return []
    row = alarm_store.get(batch.conn, alarm_id)
    assert row is not None  # in this transaction
    events = ", ".join(step.event for step in alarm.steps)
    says = f"{batch.press.name} alarm {row.id} {events}, {row.state.replace('_', ' ')}"
    return [f"{says}: {sentence(batch.conn, row)}"]
