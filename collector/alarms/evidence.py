"""Reading what the store knows about an alarm: its signals, the values behind them, the recipe."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import sqlalchemy as sa

from collector.alarms.change import FloatArray, IntArray, Series
from collector.alarms.model import SINGLE_SHOT_CHART, SINGLE_SHOT_RULE
from collector.store.newest import Newest
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
    upward: tuple[int, ...]
    downward: tuple[int, ...]


# Asked for whenever an alarm is judged, so they are built once.
_OF_ALARM = (
    sa.select(
        signals.c.key, signals.c.shot_id, signals.c.chart, signals.c.rule, signals.c.limits_id,
        signals.c.direction,
    )
    .where(signals.c.alarm_id == sa.bindparam("alarm_id"), signals.c.withdrawn.is_(False))
    .order_by(signals.c.shot_id)
)  # fmt: skip
_BASELINES = sa.select(limits.c.id, limits.c.baseline).where(
    limits.c.id.in_(sa.bindparam("ids", expanding=True))
)
_own = limits.alias()
_SAME_CONTEXT = (
    sa.select(limits.c.key)
    .distinct()
    .where(
        sa.tuple_(limits.c.press_id, limits.c.context).in_(
            sa.select(_own.c.press_id, _own.c.context).where(
                _own.c.id.in_(sa.bindparam("ids", expanding=True))
            )
        )
    )
)
_EARLIER = (  # from the newest back: the nearest is seldom far, and a press may have signaled for years
    sa.select(signals.c.shot_id)
    .where(
        signals.c.press_id == sa.bindparam("press_id"),
        signals.c.key == sa.bindparam("key"),
        signals.c.shot_id < sa.bindparam("first_shot_id"),
        signals.c.kind != "data",  # a glitch of the sensor is no matter of the process
        signals.c.withdrawn.is_(False),
    )
    .order_by(signals.c.shot_id.desc())
    .limit(1)
)
_REPORTED = sa.select(shots.c.characteristics).where(shots.c.id == sa.bindparam("shot_id"))


def signaled(conn: sa.Connection, alarm_id: int) -> dict[str, Signaled]:
    """Signals of an alarm by characteristic, without those that a replay withdrew."""
    by_key: dict[str, list[Any]] = {}
    for row in conn.execute(_OF_ALARM, {"alarm_id": alarm_id}):
        by_key.setdefault(row.key, []).append(row)
    return {key: _summary(key, rows) for key, rows in by_key.items()}


def baselines(conn: sa.Connection, facts: Collection[Signaled]) -> dict[int | None, Baseline]:
    """The baselines that the signals were judged by, by the id of their limits."""
    ids = _limits_of(facts)
    rows = conn.execute(_BASELINES, {"ids": ids}) if ids else ()
    return {row.id: Baseline.from_dict(row.baseline) for row in rows}


def reported(conn: sa.Connection, shot_id: int) -> list[str]:
    """Keys that a shot has a value for, sorted."""
    return sorted(conn.execute(_REPORTED, {"shot_id": shot_id}).scalar() or {})


def series(
    conn: sa.Connection,
    press_id: int,
    facts: Collection[Signaled],
    newest: Newest,
    *,
    known: Mapping[int | None, Baseline],
    since_shot_id: int | None,
) -> list[Series]:
    """Values of the signaled characteristics since the charts began, one series per key that has limits.

    Parameters
    ----------
    conn : Connection
    press_id : int
    facts : collection of Signaled
    newest : Newest
        The last `WINDOW_SHOTS` shots of `CHARTED`, with the keys that have limits.
    known : mapping of int to Baseline
        As :func:`baselines` gives it.
    since_shot_id : int or None
        First shot since the charts began anew.
    """
    found = []
    for fact in facts:
        if fact.limits_id not in known:
            continue
        first = max(since_shot_id or 0, _earlier_matter(conn, press_id, fact) + 1)
        use = slice(*np.searchsorted(newest.ids, (first, fact.shot_ids[-1] + 1)))
        found.append(_series(fact, newest.ids[use], newest.values[fact.key][use], known))
    return [one for one in found if one.x.size]


def charted_keys(conn: sa.Connection, facts: Collection[Signaled]) -> list[str]:
    """Keys that are charted in the context of these signals: those of which "unchanged" can be said."""
    ids = _limits_of(facts)
    return list(conn.execute(_SAME_CONTEXT, {"ids": ids}).scalars()) if ids else []


def _limits_of(facts: Collection[Signaled]) -> list[int]:
    return sorted({fact.limits_id for fact in facts if fact.limits_id is not None})


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
        upward=tuple(dict.fromkeys(row.shot_id for row in rows if row.direction > 0)),
        downward=tuple(dict.fromkeys(row.shot_id for row in rows if row.direction < 0)),
    )


def _earlier_matter(conn: sa.Connection, press_id: int, fact: Signaled) -> int:
    """Last shot before this one at which the characteristic signaled; that belongs to another alarm."""
    asked = {"press_id": press_id, "key": fact.key, "first_shot_id": fact.shot_ids[0]}
    return conn.execute(_EARLIER, asked).scalar() or 0


def _series(fact: Signaled, ids: IntArray, x: FloatArray, baselines: Mapping[int | None, Baseline]) -> Series:
    known = np.isfinite(x)
    return Series(
        key=fact.key,
        shot_ids=ids[known],
        x=x[known],
        baseline=baselines[fact.limits_id],
        signaled=fact.shot_ids,
        far_out=fact.far_out,
        upward=fact.upward,
        downward=fact.downward,
    )
