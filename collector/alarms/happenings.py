"""What people did and the press said in the half hour before a change: setpoints, lots, modes, stops."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo
from typing import Any

import sqlalchemy as sa

from collector.contract import quantities
from collector.store import presses
from collector.store.tables import events, shots
from collector.store.types import to_micros

BEFORE = timedelta(minutes=30)
KINDS = ("setpoint", "lot", "color", "state", "stop", "maintenance")

_c = events.c
_ENDED = sa.select(shots.c.id, shots.c.ended_at).where(
    shots.c.id.in_((sa.bindparam("first"), sa.bindparam("last")))
)
_BETWEEN = (
    sa.select(_c.kind, _c.at, _c.key, _c.old, _c.new, _c.note)
    .where(
        _c.press_id == sa.bindparam("press_id"),
        _c.kind.in_(KINDS),
        _c.at >= sa.bindparam("since"),
        _c.at <= sa.bindparam("until"),
    )
    .order_by(_c.at, _c.id)
)


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
    ends = {"first": first_shot_id, "last": last_shot_id}
    times = {row.id: row.ended_at for row in conn.execute(_ENDED, ends)}
    if first_shot_id not in times or last_shot_id not in times:
        return []
    asked = {
        "press_id": press_id, "since": times[first_shot_id] - BEFORE, "until": times[last_shot_id],
    }  # fmt: skip
    return [Happening(*row) for row in conn.execute(_BETWEEN, asked)]


def untouched(conn: sa.Connection, press_id: int, shot_id: int) -> set[str]:
    """Setpoints that were in force as they are now half an hour before a shot; none that nobody reports."""
    times = (presses.load_engine_state(conn, press_id) or {}).get("setpoint_times", {})
    ended_at = conn.execute(sa.select(shots.c.ended_at).where(shots.c.id == shot_id)).scalar()
    since = 0 if ended_at is None else to_micros(ended_at - BEFORE)
    return {key for key, at in times.items() if at < since}


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
