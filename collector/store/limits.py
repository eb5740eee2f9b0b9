"""Limits: provisional ones made by the service for a run, approved ones for a context."""

from __future__ import annotations

from datetime import datetime
from typing import Any

import sqlalchemy as sa

from collector.plan import KeyLimits, charts_from_json
from collector.store.tables import limits
from rules.limits import Baseline

# A press makes ten at once, and a hundred presses may do so in one batch.
_HIGHEST = sa.select(sa.func.max(limits.c.version)).where(
    limits.c.press_id == sa.bindparam("press_id"),
    limits.c.context == sa.bindparam("context"),
    limits.c.run_id.is_not_distinct_from(sa.bindparam("run_id")),
    limits.c.key == sa.bindparam("key"),
)
_INSERT = sa.insert(limits).returning(limits.c.id)
_IN_FORCE = (
    sa.update(limits)
    .where(limits.c.id == sa.bindparam("limits_id"), limits.c.from_shot_id.is_(None))
    .values(from_shot_id=sa.bindparam("first"))
)


def insert(
    conn: sa.Connection,
    press_id: int,
    made: KeyLimits,
    *,
    context: str,
    run_id: int | None,
    from_shot_id: int | None,
    at: datetime,
    reason: str,
) -> int:
    """Store limits and give them their id and version (the next one of their key, context and run)."""
    where = {"press_id": press_id, "context": context, "run_id": run_id, "key": made.key}
    made.version = (conn.execute(_HIGHEST, where).scalar_one() or 0) + 1
    row = {
        "press_id": press_id, "context": context, "run_id": run_id, "key": made.key, "version": made.version,
        "standing": made.standing, "baseline": made.baseline.to_dict(), "charts": made.charts_json(),
        "cost": dict(made.cost), "from_shot_id": from_shot_id, "at": at, "approved_by": made.approved_by,
        "reason": reason,
    }
    made.id = conn.execute(_INSERT, row).scalar_one()
    assert made.id is not None
    return made.id


def by_id(conn: sa.Connection, limits_id: int) -> KeyLimits:
    """The limits of a row."""
    return from_row(conn.execute(sa.select(limits).where(limits.c.id == limits_id)).one())


def approved(conn: sa.Connection, press_id: int, context: str) -> dict[str, KeyLimits]:
    """Approved limits in force for a context on a press, newest version of each key."""
    query = (
        sa.select(limits)
        .where(
            limits.c.press_id == press_id,
            limits.c.context == context,
            limits.c.approved_by.is_not(None),
            limits.c.retired_at.is_(None),
        )
        .order_by(limits.c.version, limits.c.id)
    )
    return {row.key: from_row(row) for row in conn.execute(query)}


def approved_row(conn: sa.Connection, limits_id: int) -> sa.Row[Any] | None:
    """The row of limits that a person approved and nobody retired; None where they are not in force."""
    mine = (limits.c.id == limits_id, limits.c.approved_by.is_not(None), limits.c.retired_at.is_(None))
    return conn.execute(sa.select(limits).where(*mine)).one_or_none()


def in_force(conn: sa.Connection, limits_id: int, *, from_shot_id: int) -> None:
    """Note the first shot that was judged by these limits, once."""
    conn.execute(_IN_FORCE, {"limits_id": limits_id, "first": from_shot_id})


def retire(conn: sa.Connection, press_id: int, context: str, key: str, *, at: datetime) -> None:
    """End every approved version of a key's limits in a context."""
    conn.execute(
        sa.update(limits)
        .where(
            limits.c.press_id == press_id,
            limits.c.context == context,
            limits.c.key == key,
            limits.c.retired_at.is_(None),
        )
        .values(retired_at=at)
    )


def from_row(row: sa.Row[Any]) -> KeyLimits:
    """A row of `limits` as the engine uses it."""
    return KeyLimits(
        key=row.key, version=row.version, standing=row.standing, baseline=Baseline.from_dict(row.baseline),
        charts=charts_from_json(row.charts), cost=row.cost or {}, id=row.id, approved_by=row.approved_by,
    )
