"""Rows of gaugings."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, NamedTuple

import sqlalchemy as sa

from collector.store.tables import gaugings
from collector.store.tables import presses as press_table

_CHUNK = 500  # values in one IN list; SQLite's limit is far higher on every build we know


class Listed(NamedTuple):
    """Which list of gaugings in order: files of one name come for one run after the other."""

    site: str
    run: str | None
    batch: str


@dataclass(frozen=True, slots=True)
class GaugingRow:
    """What a page or an action needs of one stored gauging."""

    id: int
    characteristic: str
    value: float
    unit: str
    gauged_at: datetime | None
    received_at: datetime
    age_h: float | None
    press: str | None
    shot_id: int | None
    joined_by: str | None
    counter: int | None
    tray: str | None
    tray_position: int | None
    disc_mark: str | None
    order_batch: str | None
    order_index: int | None
    order_offset: int | None
    gauge: str | None
    who: str | None
    withdrawn_at: datetime | None


_ROW = [
    press_table.c.name.label("press") if name == "press" else gaugings.c[name]
    for name in GaugingRow.__dataclass_fields__
]


def withdraw(conn: sa.Connection, gauging_id: int, *, at: datetime) -> bool:
    """Mark a gauging as withdrawn, keeping it; False when it is unknown or was withdrawn before."""
    statement = (
        sa.update(gaugings)
        .where(gaugings.c.id == gauging_id, gaugings.c.withdrawn_at.is_(None))
        .values(withdrawn_at=at, judged=None)
    )
    return conn.execute(statement).rowcount == 1


def get(conn: sa.Connection, gauging_id: int) -> GaugingRow | None:
    """One gauging, None when there is none of that number."""
    query = _rows().where(gaugings.c.id == gauging_id)
    return next((GaugingRow(**row) for row in conn.execute(query).mappings()), None)


def latest(
    conn: sa.Connection, *, characteristic: str | None = None, source: str | None = None, limit: int = 8
) -> list[GaugingRow]:
    """The gaugings that came last, newest first, withdrawn ones too."""
    query = _rows().order_by(gaugings.c.id.desc()).limit(limit)
    if characteristic is not None:
        query = query.where(gaugings.c.characteristic == characteristic)
    if source is not None:
        query = query.where(gaugings.c.source == source)
    return [GaugingRow(**row) for row in conn.execute(query).mappings()]


def insert(conn: sa.Connection, row: Mapping[str, Any]) -> int:
    """Store one gauging and return its number."""
    statement = sa.insert(gaugings).values(**row).returning(gaugings.c.id)
    return int(conn.execute(statement).scalar_one())


def change(conn: sa.Connection, gauging_id: int, columns: Mapping[str, Any]) -> None:
    """Write the given columns of one gauging."""
    conn.execute(sa.update(gaugings).where(gaugings.c.id == gauging_id).values(**columns))


def stored(conn: sa.Connection, identities: Sequence[bytes]) -> dict[bytes, int]:
    """Which of these identities are stored already, with their rows."""
    found: dict[bytes, int] = {}
    for start in range(0, len(identities), _CHUNK):
        wanted = gaugings.c.identity.in_(identities[start : start + _CHUNK])
        for row in conn.execute(sa.select(gaugings.c.identity, gaugings.c.id).where(wanted)):
            found[row.identity] = row.id
    return found


def waiting(conn: sa.Connection, press_id: int, *, limit: int) -> Sequence[sa.RowMapping]:
    """Gaugings of a press, or of no named press, whose disc has not arrived; newest first."""
    return conn.execute(_WAITING, {"press_id": press_id, "most": limit}).mappings().all()


def of_list(conn: sa.Connection, asked: Listed) -> Sequence[sa.RowMapping]:
    """Gaugings of one list in its order, without withdrawn ones."""
    query = _with_press().where(*_of(asked), gaugings.c.withdrawn_at.is_(None))
    return conn.execute(query.order_by(gaugings.c.order_index)).mappings().all()


def offsets(conn: sa.Connection, asked: Collection[Listed]) -> dict[Listed, int]:
    """Offset in force of each of these lists that is stored."""
    c = gaugings.c
    names = sorted({each.batch for each in asked})
    query = sa.select(c.site, c.run_name, c.order_batch, sa.func.max(c.order_offset).label("shift"))
    query = query.where(c.order_batch.in_(names)).group_by(c.site, c.run_name, c.order_batch)
    rows = conn.execute(query)
    found = {Listed(row.site, row.run_name, row.order_batch): row.shift or 0 for row in rows}
    return {each: offset for each, offset in found.items() if each in asked}


def set_offset(conn: sa.Connection, asked: Listed, offset: int) -> None:
    """Write the offset of a whole list."""
    conn.execute(sa.update(gaugings).where(*_of(asked)).values(order_offset=offset))


def _of(asked: Listed) -> tuple[sa.ColumnElement[bool], ...]:
    c = gaugings.c
    same_run = c.run_name.is_not_distinct_from(asked.run)
    return c.order_batch == asked.batch, c.site == asked.site, same_run


def _rows() -> sa.Select[Any]:
    return sa.select(*_ROW).select_from(gaugings.outerjoin(press_table))


def _with_press() -> sa.Select[Any]:
    joined = gaugings.outerjoin(press_table)
    return sa.select(gaugings, press_table.c.name.label("press")).select_from(joined)


_WAITING = (  # looked for after every batch of every press
    _with_press()
    .where(
        sa.or_(gaugings.c.press_id == sa.bindparam("press_id"), gaugings.c.press_id.is_(None)),
        gaugings.c.joined_by.is_(None),
        gaugings.c.withdrawn_at.is_(None),
        sa.or_(*(gaugings.c[name].is_not(None) for name in ("counter", "tray", "order_index"))),
    )
    .order_by(gaugings.c.id.desc())
    .limit(sa.bindparam("most"))
)
