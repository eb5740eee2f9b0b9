"""Signals as rows."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import sqlalchemy as sa

from collector.engine import Signal
from collector.store.tables import signals


def row(press_id: int, shot_id: int, signal: Signal) -> dict[str, Any]:
    """One signal as a row; its limits have their id by now."""
    return {
        "press_id": press_id, "shot_id": shot_id, "kind": signal.kind, "key": signal.key,
        "chart": signal.chart, "rule": signal.rule, "direction": signal.direction,
        "value": _finite(signal.value), "statistic": _finite(signal.statistic),
        "share": _finite(signal.share), "points": signal.points, "withdrawn": False,
        "limits_id": None if signal.limits is None else signal.limits.id,
    }  # fmt: skip


def insert(conn: sa.Connection, rows: Sequence[dict[str, Any]]) -> list[int]:
    """Store signals; ids in the order given."""
    if not rows:
        return []
    statement = sa.insert(signals).returning(signals.c.id, sort_by_parameter_order=True)
    return list(conn.execute(statement, list(rows)).scalars())


def _finite(value: float | None) -> float | None:
    return value if value is not None and math.isfinite(value) else None
