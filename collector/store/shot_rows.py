"""Rows of shots into the database, in bulk.

SQLite gets them as its columns hold them, straight through its driver: a fifth of the time of the general way
(measured).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import sqlalchemy as sa

from collector.store.database import to_json
from collector.store.tables import shots
from collector.store.types import UtcTime, to_micros

Row = dict[str, Any]

_COLUMNS = [column for column in shots.columns if not column.primary_key]
_NAMES = [column.name for column in _COLUMNS]
_TIMES = [place for place, column in enumerate(_COLUMNS) if isinstance(column.type, UtcTime)]
_TEXTS = [place for place, column in enumerate(_COLUMNS) if isinstance(column.type, sa.JSON)]
_INSERT = f"INSERT INTO shots ({', '.join(_NAMES)}) VALUES ({', '.join('?' * len(_NAMES))})"  # noqa: S608 - our own names
_LAST = sa.select(sa.func.max(shots.c.id))
# What most columns hold most of the time needs no encoder.
_EMPTY: dict[type[Any], str | None] = {dict: "{}", list: "[]", type(None): None}


def insert(conn: sa.Connection, rows: Sequence[Row]) -> list[int]:
    """Store rows with all columns but their id; ids in the order given.

    Raises
    ------
    sqlalchemy.exc.IntegrityError
        A shot of the same press, epoch and counter is stored already.
    """
    if conn.dialect.name == "sqlite":
        return _by_driver(conn, rows)
    statement = sa.insert(shots).returning(shots.c.id, sort_by_parameter_order=True)
    return list(conn.execute(statement, list(rows)).scalars())


def _by_driver(conn: sa.Connection, rows: Sequence[Row]) -> list[int]:
    """SQLite numbers rows upward from the largest one, and nobody else writes during this transaction."""
    conn.exec_driver_sql(_INSERT, [_as_held(row) for row in rows])
    last: int = conn.execute(_LAST).scalar_one()
    return list(range(last - len(rows) + 1, last + 1))


def _as_held(row: Row) -> tuple[Any, ...]:
    held = [row[name] for name in _NAMES]
    for place in _TIMES:
        held[place] = to_micros(held[place])
    for place in _TEXTS:
        held[place] = to_json(held[place]) if held[place] else _EMPTY[type(held[place])]
    return tuple(held)
