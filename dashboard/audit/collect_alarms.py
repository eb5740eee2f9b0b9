"""Signals, alarms and holds of a run as evidence."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import sqlalchemy as sa

from collector.store import alarms as alarm_rows
from collector.store import holds as hold_rows
from collector.store.tables import alarms, holds, shots, signals
from dashboard.audit.facts import AlarmFact, HoldFact, SignalGroup, StepFact
from dashboard.audit.shot_list import ShotList


def signal_groups(conn: sa.Connection, run_id: int, shot_list: ShotList) -> tuple[SignalGroup, ...]:
    """Signals that stand, counted by alarm, characteristic, rule and side, in the order of the alarms."""
    groups: dict[tuple[Any, ...], SignalGroup] = {}
    query = _of_run(run_id).where(signals.c.withdrawn.is_(False)).order_by(signals.c.id)
    for row in conn.execute(query):
        place = shot_list.place(row.shot_id)
        assert place is not None  # it is a shot of this run
        name = (row.alarm_id, row.kind, row.key, row.chart, row.rule, row.direction)
        known = groups.get(name)
        groups[name] = _one(name, place, row.share) if known is None else _more(known, place, row.share)
    return tuple(sorted(groups.values(), key=_by_alarm))


def _by_alarm(group: SignalGroup) -> tuple[Any, ...]:
    return (group.alarm_id is None, group.alarm_id or 0, group.first, group.key, group.chart or "",
            group.rule, group.direction)  # fmt: skip


def _one(name: tuple[Any, ...], place: int, share: float | None) -> SignalGroup:
    alarm_id, kind, key, chart, rule, direction = name
    return SignalGroup(
        alarm_id=alarm_id, kind=kind, key=key, chart=chart, rule=rule, direction=direction, count=1,
        first=place, last=place, largest_share=share,
    )  # fmt: skip


def _more(group: SignalGroup, place: int, share: float | None) -> SignalGroup:
    shares = [each for each in (group.largest_share, share) if each is not None]
    return replace(
        group, count=group.count + 1, first=min(group.first, place), last=max(group.last, place),
        largest_share=max(shares, default=None),
    )  # fmt: skip


def signal_places(conn: sa.Connection, run_id: int, shot_list: ShotList) -> dict[str, tuple[int, ...]]:
    """Places of the shots at which each characteristic signaled."""
    places: dict[str, set[int]] = {}
    for row in conn.execute(_of_run(run_id).where(signals.c.withdrawn.is_(False))):
        place = shot_list.place(row.shot_id)
        assert place is not None  # it is a shot of this run
        places.setdefault(row.key, set()).add(place)
    return {key: tuple(sorted(found)) for key, found in sorted(places.items())}


def changed_later(conn: sa.Connection, run_id: int) -> tuple[int, int]:
    """How many signals a late or corrected shot withdrew, and how many it added."""
    rows = conn.execute(_of_run(run_id).where(signals.c.changed.is_not(None))).all()
    withdrawn = sum(row.withdrawn for row in rows)
    return withdrawn, len(rows) - withdrawn


def _of_run(run_id: int) -> sa.Select[Any]:
    return sa.select(signals).join(shots, shots.c.id == signals.c.shot_id).where(shots.c.run_id == run_id)


def alarms_of(conn: sa.Connection, run_id: int, shot_list: ShotList) -> tuple[AlarmFact, ...]:
    """Alarms of the run, each with its steps, oldest first."""
    signaled = sa.select(signals.c.alarm_id).join(shots).where(shots.c.run_id == run_id)
    query = sa.select(alarms.c.id).where(sa.or_(alarms.c.run_id == run_id, alarms.c.id.in_(signaled)))
    numbers = conn.execute(query.order_by(alarms.c.id)).scalars().all()
    found = (alarm_rows.get(conn, number) for number in numbers)
    return tuple(_alarm(conn, row, shot_list) for row in found if row is not None)


def _alarm(conn: sa.Connection, row: alarm_rows.AlarmRow, shot_list: ShotList) -> AlarmFact:
    steps = alarm_rows.steps(conn, row.id)
    return AlarmFact(
        id=row.id, kind=row.kind, state=row.state, opened_at=row.opened_at, headline=row.headline,
        first=shot_list.place(row.first_shot_id), last=shot_list.place(row.last_shot_id),
        change=shot_list.place(row.change_shot_id), change_low=shot_list.place(row.change_low_shot_id),
        change_high=shot_list.place(row.change_high_shot_id), causes=tuple(row.causes or ()),
        acknowledged_by=row.acknowledged_by, acknowledged_at=row.acknowledged_at, closed_by=row.closed_by,
        closed_at=row.closed_at, cause=row.cause, note=row.note,
        steps=tuple(
            StepFact(at=step.at, event=step.event, after=step.after, who=step.who, note=step.note)
            for step in steps
        ),
    )  # fmt: skip


def holds_of(
    conn: sa.Connection, run_id: int, shot_list: ShotList, known: Sequence[AlarmFact]
) -> tuple[HoldFact, ...]:
    """Holds of the run or of its alarms, oldest first, with all that each covers."""
    numbers = [alarm.id for alarm in known]
    query = sa.select(holds.c.id).where(sa.or_(holds.c.run_id == run_id, holds.c.alarm_id.in_(numbers)))
    covering = conn.execute(query.order_by(holds.c.id)).scalars().all()
    found = (hold_rows.get(conn, hold_id) for hold_id in covering)
    return tuple(_hold(conn, row, shot_list) for row in found if row is not None)


def _hold(conn: sa.Connection, row: hold_rows.HoldRow, shot_list: ShotList) -> HoldFact:
    covered = hold_rows.extent(
        conn, press_id=row.press_id, from_shot_id=row.from_shot_id, to_shot_id=row.to_shot_id
    )
    last = len(shot_list) - 1 if row.to_shot_id is None else shot_list.place(row.to_shot_id)
    return HoldFact(
        id=row.id, alarm_id=row.alarm_id, state=row.state, reason=row.reason,
        first=shot_list.place(row.from_shot_id), last=last, discs=covered.discs, trays=covered.trays,
        without_tray=covered.without_tray, opened_by=row.opened_by, opened_at=row.opened_at,
        closed_by=row.closed_by, closed_at=row.closed_at, note=row.note, good_discs=row.good_discs,
        bad_discs=row.bad_discs,
    )  # fmt: skip
