"""Reading what the store knows about an alarm: its signals, the values behind them, the recipe."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import sqlalchemy as sa

from collector.alarms.change import WINDOW_SHOTS, FloatArray, IntArray, Series
from collector.alarms.model import SINGLE_SHOT_CHART, SINGLE_SHOT_RULE
from collector.store import doubts
from collector.store import shots as shot_store
from collector.store.tables import limits, recipes, runs, shots, signals
from rules.limits import Baseline

CHARTED = ("baseline", "charted")


@dataclass(frozen=True, slots=True, kw_only=True)
class Signaled:
    """What the signals of one alarm say about one characteristic."""

    key: str
    limits_id: int | None
    shot_ids: tuple[int, ...]
    far_out: frozenset[int]


def signaled(conn: sa.Connection, alarm_id: int) -> dict[str, Signaled]:
    """Signals of an alarm by characteristic, without those that a replay withdrew."""
    columns = (signals.c.key, signals.c.shot_id, signals.c.chart, signals.c.rule, signals.c.limits_id)
    query = sa.select(*columns).where(signals.c.alarm_id == alarm_id, signals.c.withdrawn.is_(False))
    by_key: dict[str, list[Any]] = {}
    for row in conn.execute(query.order_by(signals.c.shot_id)):
        by_key.setdefault(row.key, []).append(row)
    return {key: _summary(key, rows) for key, rows in by_key.items()}


def series(
    conn: sa.Connection,
    press_id: int,
    facts: Collection[Signaled],
    *,
    since_shot_id: int | None,
) -> list[Series]:
    """Values of the signaled characteristics since the charts began, one series per key that has limits."""
    baselines = _baselines(conn, {fact.limits_id for fact in facts if fact.limits_id is not None})
    charted = [fact for fact in facts if fact.limits_id in baselines]
    if not charted:
        return []
    frame = shot_store.values(
        conn,
        press_id=press_id,
        keys=[fact.key for fact in charted],
        after_id=None if since_shot_id is None else since_shot_id - 1,
        phases=CHARTED,
        last=WINDOW_SHOTS,
    )
    frame = doubts.without_doubted(conn, frame, [fact.key for fact in charted], press_id=press_id)
    ids = frame["id"].to_numpy(dtype=np.int64)
    found = []
    for fact in charted:
        use = (ids <= fact.shot_ids[-1]) & (ids > _earlier_matter(conn, press_id, fact))
        found.append(_series(fact, ids[use], frame[fact.key].to_numpy(dtype=float)[use], baselines))
    return [one for one in found if one.x.size]


def charted_keys(conn: sa.Connection, facts: Collection[Signaled]) -> list[str]:
    """Keys that are charted in the context of these signals: those of which "unchanged" can be said."""
    own = limits.alias()
    contexts = sa.select(own.c.press_id, own.c.context).where(
        own.c.id.in_({fact.limits_id for fact in facts if fact.limits_id is not None})
    )
    same = sa.tuple_(limits.c.press_id, limits.c.context).in_(contexts)
    return list(conn.execute(sa.select(limits.c.key).distinct().where(same)).scalars())


def first_of_run(conn: sa.Connection, press_id: int, *, alarm_id: int, shot_id: int) -> int:
    """The first of the shots that a signal is made of, such as those at which a reading stood still."""
    c = signals.c
    points = conn.execute(
        sa.select(sa.func.max(c.points)).where(c.alarm_id == alarm_id, c.shot_id == shot_id)
    ).scalar()
    of_press = sa.select(shots.c.id).where(shots.c.press_id == press_id, shots.c.id <= shot_id)
    last_few = of_press.order_by(shots.c.id.desc()).limit(points or 1).subquery()
    return conn.execute(sa.select(sa.func.min(last_few.c.id))).scalar() or shot_id


def recipe_setpoints(conn: sa.Connection, run_id: int | None) -> Mapping[str, float]:
    """Setpoints that the recipe of a run asks for, by key, canonical units."""
    query = sa.select(recipes.c.setpoints).join(runs, runs.c.recipe_id == recipes.c.id)
    asked = conn.execute(query.where(runs.c.id == run_id)).scalar() or {}
    return {key: float(entry["setpoint"]) for key, entry in asked.items()}


def _summary(key: str, rows: list[Any]) -> Signaled:
    return Signaled(
        key=key,
        limits_id=next((row.limits_id for row in reversed(rows) if row.limits_id is not None), None),
        shot_ids=tuple(dict.fromkeys(row.shot_id for row in rows)),
        far_out=frozenset(
            row.shot_id for row in rows if row.chart == SINGLE_SHOT_CHART and row.rule == SINGLE_SHOT_RULE
        ),
    )


def _baselines(conn: sa.Connection, ids: set[int]) -> dict[int | None, Baseline]:
    query = sa.select(limits.c.id, limits.c.baseline).where(limits.c.id.in_(ids))
    return {row.id: Baseline.from_dict(row.baseline) for row in conn.execute(query)}


def _earlier_matter(conn: sa.Connection, press_id: int, fact: Signaled) -> int:
    """Last shot before this one at which the characteristic signaled; that belongs to another alarm."""
    query = sa.select(sa.func.max(signals.c.shot_id)).where(
        signals.c.press_id == press_id,
        signals.c.key == fact.key,
        signals.c.shot_id < fact.shot_ids[0],
        signals.c.kind != "data",  # a glitch of the sensor is no matter of the process
        signals.c.withdrawn.is_(False),
    )
    return conn.execute(query).scalar() or 0


def _series(fact: Signaled, ids: IntArray, x: FloatArray, baselines: Mapping[int | None, Baseline]) -> Series:
    known = np.isfinite(x)
    return Series(
        key=fact.key,
        shot_ids=ids[known],
        x=x[known],
        baseline=baselines[fact.limits_id],
        signaled=fact.shot_ids,
        far_out=fact.far_out,
    )
