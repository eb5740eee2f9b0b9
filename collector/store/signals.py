"""Signals as rows."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import sqlalchemy as sa

from collector.alarms.model import ShotVerdict, SignalFact
from collector.store.tables import shots, signals
from collector.verdict import Signal

FACTS = ("kind", "key", "chart", "rule", "direction", "value", "statistic", "share", "limits_id")


def row(press_id: int, shot_id: int, signal: Signal) -> dict[str, Any]:
    """One signal as a row; its limits have their id by now."""
    return {
        "press_id": press_id, "shot_id": shot_id, "kind": signal.kind, "key": signal.key,
        "chart": signal.chart, "rule": signal.rule, "direction": signal.direction,
        "value": finite(signal.value), "statistic": finite(signal.statistic),
        "share": finite(signal.share), "points": signal.points, "withdrawn": False,
        "limits_id": None if signal.limits is None else signal.limits.id,
    }


def insert(conn: sa.Connection, rows: Sequence[dict[str, Any]]) -> list[int]:
    """Store signals; ids in the order given."""
    if not rows:
        return []
    statement = sa.insert(signals).returning(signals.c.id, sort_by_parameter_order=True)
    return list(conn.execute(statement, list(rows)).scalars())


def finite(value: float | None) -> float | None:
    """What the databases take; a share of a limit of width zero has no end."""
    return value if value is not None and math.isfinite(value) else None


def verdicts(conn: sa.Connection, ids: Sequence[int]) -> list[ShotVerdict]:
    """The shots of some signals as the alarms want them, oldest first."""
    c = signals.c
    rows = conn.execute(
        sa.select(
            signals, shots.c.counter, shots.c.ended_at, shots.c.run_id, shots.c.phase, shots.c.tray
        )
        .join(shots, shots.c.id == c.shot_id)
        .where(c.id.in_(list(ids)))
        .order_by(shots.c.ended_at, c.id)
    ).all()
    by_shot: dict[int, ShotVerdict] = {}
    for row in rows:
        fact = SignalFact(signal_id=row.id, **{name: getattr(row, name) for name in FACTS})
        before = by_shot.get(row.shot_id)
        by_shot[row.shot_id] = ShotVerdict(
            shot_id=row.shot_id, counter=row.counter, ended_at=row.ended_at, run_id=row.run_id,
            phase=row.phase, tray=row.tray, signals=(*(before.signals if before else ()), fact),
        )
    return list(by_shot.values())
