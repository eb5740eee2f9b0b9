"""What people did and the press said in the half hour before a change: setpoints, lots, modes, stops."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo
from typing import Any

import sqlalchemy as sa

from collector.contract import quantities
from collector.store.tables import events, shots

BEFORE = timedelta(minutes=30)
KINDS = ("setpoint", "lot", "color", "state", "stop", "maintenance")


@dataclass(frozen=True, slots=True)
class Happening:
    """One event before a change; `key`, `old` and `new` as in the `events` table."""

    kind: str
    at: datetime
    key: str | None
    old: Any
    new: Any
    note: str | None

    @property
    def name(self) -> str:
        """What the fault table knows it as."""
        return f"setpoint {self.key}" if self.kind == "setpoint" else self.kind


def before(
    conn: sa.Connection, press_id: int, *, first_shot_id: int | None, last_shot_id: int | None
) -> list[Happening]:
    """Events from half an hour before the first of two shots to the last, oldest first.

    Parameters
    ----------
    conn : Connection
    press_id : int
    first_shot_id, last_shot_id : int or None
        Of the confidence set of a change; None where it has none.
    """
    times = {
        row.id: row.ended_at
        for row in conn.execute(
            sa.select(shots.c.id, shots.c.ended_at).where(shots.c.id.in_((first_shot_id, last_shot_id)))
        )
    }
    if first_shot_id not in times or last_shot_id not in times:
        return []
    c = events.c
    query = sa.select(c.kind, c.at, c.key, c.old, c.new, c.note).where(
        c.press_id == press_id, c.kind.in_(KINDS), c.at >= times[first_shot_id] - BEFORE,
        c.at <= times[last_shot_id],
    )  # fmt: skip
    return [Happening(*row) for row in conn.execute(query.order_by(c.at, c.id))]


def words(happening: Happening, zone: tzinfo) -> str:
    """One event in words: ``13:58 cooling time set from 38.00 s to 35.00 s``."""
    return f"{happening.at.astimezone(zone):%H:%M} {_said(happening)}"


def _said(happening: Happening) -> str:
    match happening.kind:
        case "setpoint" if happening.key is not None:
            old, new = (_written(happening.key, value) for value in (happening.old, happening.new))
            return f"{quantities.label(happening.key).lower()} set from {old} to {new}"
        case "lot" | "color":
            return f"{happening.kind} {happening.new} instead of {happening.old}"
        case "stop" if isinstance(happening.new, int | float):
            return f"the press went on after {happening.new / 60:.0f} min"
        case "state":
            return f"press {happening.new}" + (f" ({happening.note})" if happening.note else "")
    return happening.note or happening.kind


def _written(key: str, value: Any) -> str:
    return quantities.format_value(key, value) if isinstance(value, int | float) else str(value)
