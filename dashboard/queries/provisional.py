"""Limits that nobody has approved: what rests on them, and when a study can make better ones."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from collector.actions.limits_steady import STEADY
from collector.store.tables import limits, shots, signals
from rules.limits import PHI_CEILING, USABLE_FROM

Baseline = Mapping[str, Any]
_PROVISIONAL = limits.c.standing == "provisional"


def of_run(conn: Connection, press_id: int, run_id: int | None) -> Sequence[Baseline]:
    """The baselines of the limits of a run that are provisional and in force."""
    its = (limits.c.press_id == press_id, limits.c.run_id == run_id, limits.c.retired_at.is_(None))
    query = sa.select(limits.c.baseline).where(*its, _PROVISIONAL)
    return [] if run_id is None else conn.execute(query).scalars().all()


def can_be_studied(conn: Connection, run_id: int | None, baselines: Sequence[Baseline]) -> bool:
    """Whether all of them would be usable from the steady shots that the run has; no more are counted."""
    needed = max(map(_needed, baselines), default=0)
    some = sa.select(shots.c.id).where(shots.c.run_id == run_id, shots.c.phase.in_(STEADY)).limit(needed)
    found = conn.execute(sa.select(sa.func.count()).select_from(some.subquery())).scalar_one()
    return 0 < needed <= found


def _needed(baseline: Baseline) -> int:
    """Shots whose effective size, n (1 - phi) / (1 + phi), is that of usable limits."""
    phi = min(max(float(baseline.get("phi") or 0.0), 0.0), PHI_CEILING)
    return math.ceil(USABLE_FROM * (1 + phi) / (1 - phi))


def keys_of_alarm(conn: Connection, alarm_id: int) -> tuple[str, ...]:
    """The characteristics of an alarm that signaled under such limits."""
    return tuple(conn.execute(_under(alarm_id, signals.c.key).distinct().order_by(signals.c.key)).scalars())


def is_under_alarm(conn: Connection, alarm_id: int) -> bool:
    """Whether there is any."""
    return conn.execute(_under(alarm_id, signals.c.id).limit(1)).first() is not None


def _under(alarm_id: int, column: sa.Column[Any]) -> sa.Select[tuple[Any]]:
    query = sa.select(column).join(limits, limits.c.id == signals.c.limits_id)
    return query.where(signals.c.alarm_id == alarm_id, signals.c.withdrawn.is_(False), _PROVISIONAL)
