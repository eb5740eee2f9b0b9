"""Rows of alarms and of their steps."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, fields
from datetime import datetime
from typing import Any, cast

import sqlalchemy as sa

from collector.contract.outgoing import AlarmState
from collector.store.tables import alarm_steps, alarms, holds, presses

SERVICE = "service"
ACTIVE: tuple[AlarmState, ...] = ("active_unacknowledged", "active_acknowledged")
QUIET: tuple[AlarmState, ...] = ("shelved", "suppressed_by_design", "out_of_service")
LATCHED: tuple[AlarmState, ...] = ("latched_unacknowledged", "latched_acknowledged")


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmRow:
    """One alarm; the fields are the columns of the table, and `holding`: whether a hold of it is open.

    An alarm of the service itself has no press but a site, and its `subject` says what is silent.
    """

    id: int
    press_id: int | None
    run_id: int | None
    kind: str
    state: AlarmState
    opened_at: datetime
    changed_at: datetime
    first_shot_id: int | None
    last_shot_id: int | None
    change_shot_id: int | None
    change_low_shot_id: int | None
    change_high_shot_id: int | None
    quiet_shots: int
    characteristics: list[dict[str, Any]]
    headline: str
    causes: list[dict[str, Any]] | None
    acknowledged_by: str | None
    acknowledged_at: datetime | None
    closed_by: str | None
    closed_at: datetime | None
    cause: str | None
    note: str | None
    beneath: AlarmState | None
    subject: str | None
    site: str | None
    holding: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class StepRow:
    """One step in the life of an alarm."""

    id: int
    alarm_id: int
    at: datetime
    event: str
    before: str | None
    after: str
    who: str
    note: str | None


_OPEN_HOLD = sa.exists().where(holds.c.alarm_id == alarms.c.id, holds.c.state == "open")
_HOLDING = _OPEN_HOLD.correlate(alarms).label("holding")
_COLUMNS = [_HOLDING if field.name == "holding" else alarms.c[field.name] for field in fields(AlarmRow)]
_OPEN_TO_SIGNALS = (  # asked for with every batch of every press
    sa.select(*_COLUMNS)
    .where(
        alarms.c.press_id == sa.bindparam("press_id"),
        alarms.c.closed_at.is_(None),
        alarms.c.kind != "silence",
        sa.or_(
            *(alarms.c.state == state for state in (*ACTIVE, *QUIET)),
            alarms.c.quiet_shots < sa.bindparam("within"),
        ),
    )
    .order_by(alarms.c.id)
)
_COUNT_QUIET = (  # one at least with every shot of a press that has an alarm
    sa.update(alarms)
    .where(alarms.c.id == sa.bindparam("alarm_id"))
    .values(quiet_shots=sa.bindparam("count"))
)
_SHOWN = (
    sa.select(*_COLUMNS)
    .where(sa.or_(alarms.c.closed_at.is_(None), alarms.c.state.in_(LATCHED)))
    .order_by(alarms.c.id)
)
_SHOWN_OF_PRESS = _SHOWN.where(alarms.c.press_id == sa.bindparam("whose"))
_SHOWN_OF_SITE = _SHOWN.where(alarms.c.site == sa.bindparam("whose"))
_GET = sa.select(*_COLUMNS).where(alarms.c.id == sa.bindparam("alarm_id"))


def get(conn: sa.Connection, alarm_id: int) -> AlarmRow | None:
    """One alarm by its number, None when there is none."""
    row = conn.execute(_GET, {"alarm_id": alarm_id}).mappings().first()
    return None if row is None else _read(row)


def lock(conn: sa.Connection, alarm_id: int) -> None:
    """Wait until no other transaction changes an alarm; SQLite has one writer at a time anyway."""
    conn.execute(sa.select(alarms.c.id).where(alarms.c.id == alarm_id).with_for_update())


def unclosed(conn: sa.Connection, *, press_id: int | None = None) -> list[AlarmRow]:
    """Alarms that still need a person, oldest first."""
    query = sa.select(*_COLUMNS).where(alarms.c.closed_at.is_(None)).order_by(alarms.c.id)
    if press_id is not None:
        query = query.where(alarms.c.press_id == press_id)
    return [_read(row) for row in conn.execute(query).mappings()]


def open_to_signals(conn: sa.Connection, *, press_id: int, within: int) -> list[AlarmRow]:
    """Unclosed alarms of a press that shots may still touch, oldest first.

    Those that are active, kept quiet, or without a signal for fewer than `within` shots.
    """
    rows = conn.execute(_OPEN_TO_SIGNALS, {"press_id": press_id, "within": within})
    return [_read(row) for row in rows.mappings()]


def shown(conn: sa.Connection, *, press_id: int | None, site: str | None = None) -> list[AlarmRow]:
    """What the message of a press, or of a site's service, may speak of: unclosed, or discs still on hold."""
    query, whose = (_SHOWN_OF_SITE, site) if press_id is None else (_SHOWN_OF_PRESS, press_id)
    return [_read(row) for row in conn.execute(query, {"whose": whose}).mappings()]


def silences(conn: sa.Connection) -> list[AlarmRow]:
    """Unclosed alarms of silence, oldest first."""
    query = sa.select(*_COLUMNS).where(alarms.c.closed_at.is_(None), alarms.c.kind == "silence")
    return [_read(row) for row in conn.execute(query.order_by(alarms.c.id)).mappings()]


def closed(conn: sa.Connection, *, last: int, press_id: int | None = None) -> list[AlarmRow]:
    """The alarms closed last, newest first."""
    query = sa.select(*_COLUMNS).where(alarms.c.closed_at.is_not(None))
    if press_id is not None:
        query = query.where(alarms.c.press_id == press_id)
    query = query.order_by(alarms.c.closed_at.desc(), alarms.c.id.desc()).limit(last)
    return [_read(row) for row in conn.execute(query).mappings()]


def open_new(conn: sa.Connection, values: Mapping[str, Any]) -> int:
    """Write a new alarm and return its number."""
    inserted = conn.execute(sa.insert(alarms).values(**values)).inserted_primary_key
    assert inserted is not None  # an insert of one row always has its key
    return int(inserted[0])


def change(conn: sa.Connection, alarm_id: int, values: Mapping[str, Any]) -> None:
    """Write the given columns of one alarm."""
    conn.execute(sa.update(alarms).where(alarms.c.id == alarm_id).values(**values))


def count_quiet(conn: sa.Connection, quiet_shots: Mapping[int, int]) -> None:
    """Write for how many shots alarms, by their numbers, have been without a signal."""
    if quiet_shots:
        conn.execute(_COUNT_QUIET, [{"alarm_id": one, "count": count} for one, count in quiet_shots.items()])


def add_step(
    conn: sa.Connection,
    alarm_id: int,
    *,
    at: datetime,
    event: str,
    before: str | None,
    after: str,
    who: str = SERVICE,
    note: str | None = None,
) -> None:
    """Write one step in the life of an alarm."""
    conn.execute(
        sa.insert(alarm_steps).values(
            alarm_id=alarm_id, at=at, event=event, before=before, after=after, who=who, note=note
        )
    )


def steps(conn: sa.Connection, alarm_id: int) -> list[StepRow]:
    """The steps of one alarm in their order."""
    columns = [alarm_steps.c[field.name] for field in fields(StepRow)]
    query = sa.select(*columns).where(alarm_steps.c.alarm_id == alarm_id).order_by(alarm_steps.c.id)
    return [StepRow(**row) for row in conn.execute(query).mappings()]


def press_of(conn: sa.Connection, press_id: int) -> dict[str, str]:
    """Site and name of a press, by these words."""
    row = conn.execute(sa.select(presses.c.site, presses.c.name).where(presses.c.id == press_id)).one()
    return {"site": str(row.site), "name": str(row.name)}


def as_values(row: AlarmRow, names: Sequence[str]) -> dict[str, Any]:
    """The named columns of an alarm, as the journal keeps them."""
    fields_of_row = asdict(row)
    return {name: _plain(fields_of_row[name]) for name in names}


def _plain(value: object) -> object:
    return value.isoformat() if isinstance(value, datetime) else value


def _read(row: Mapping[Any, Any]) -> AlarmRow:
    return AlarmRow(**cast("dict[str, Any]", row))
