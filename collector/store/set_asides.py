"""Rows of what keeps alarms quiet: shelves, and presses or characteristics out of service."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from collector.store.tables import set_asides

SHELVED, OUT_OF_SERVICE = "shelved", "out_of_service"


@dataclass(frozen=True, slots=True, kw_only=True)
class SetAside:
    """One of them; the fields are the columns of the table. It lasts while `ended_at` is None."""

    id: int
    kind: str
    press_id: int | None
    alarm_id: int | None
    key: str | None
    at: datetime
    until: datetime | None
    who: str
    reason: str
    ended_at: datetime | None
    ended_by: str | None
    end_reason: str | None


_COLUMNS = [set_asides.c[field.name] for field in fields(SetAside)]
_LASTING = sa.select(*_COLUMNS).where(set_asides.c.ended_at.is_(None)).order_by(set_asides.c.id)
_OUT_OF_PRESS = _LASTING.where(
    set_asides.c.press_id == sa.bindparam("press_id"), set_asides.c.kind == OUT_OF_SERVICE
)


def get(conn: sa.Connection, set_aside_id: int) -> SetAside | None:
    """One by its number, None when there is none."""
    row = conn.execute(sa.select(*_COLUMNS).where(set_asides.c.id == set_aside_id)).mappings().first()
    return None if row is None else SetAside(**row)


def lasting(conn: sa.Connection) -> list[SetAside]:
    """All that last, oldest first."""
    return [SetAside(**row) for row in conn.execute(_LASTING).mappings()]


def out_of_service(conn: sa.Connection, press_id: int) -> list[SetAside]:
    """What of a press is out of service, oldest first."""
    return [SetAside(**row) for row in conn.execute(_OUT_OF_PRESS, {"press_id": press_id}).mappings()]


def shelf_of(conn: sa.Connection, alarm_id: int) -> SetAside | None:
    """The shelf that an alarm lies on, None when it lies on none."""
    row = conn.execute(_LASTING.where(set_asides.c.alarm_id == alarm_id)).mappings().first()
    return None if row is None else SetAside(**row)


def begin(conn: sa.Connection, values: Mapping[str, Any]) -> int:
    """Write a new one and return its number."""
    inserted = conn.execute(sa.insert(set_asides).values(**values)).inserted_primary_key
    assert inserted is not None  # an insert of one row always has its key
    return int(inserted[0])


def end(conn: sa.Connection, set_aside_id: int, *, at: datetime, who: str, reason: str | None) -> None:
    """Note that one is over."""
    conn.execute(
        sa.update(set_asides)
        .where(set_asides.c.id == set_aside_id)
        .values(ended_at=at, ended_by=who, end_reason=reason)
    )


def covers(out: Mapping[str | None, SetAside], key: str) -> bool:
    """Whether a characteristic is out of service, by itself or with its whole press."""
    return None in out or key in out
