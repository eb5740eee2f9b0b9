"""From every version of the store forward, each row keeps what it said.

The stores are made by the migrations of their time and filled by a generator that knows only their schema, so
that it cannot share a mistake with the code of today.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import count
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
from alembic import command
from alembic.script import ScriptDirectory

from collector.store import database
from collector.store.migrations import runner

ROWS = 3
# Said in other words since, see test_migration_alarm_life.
REWORDED = {("alarms", "state")}
# Texts that a later migration reads.
SPECIAL = {"characteristics": '{"cushion": 6.2}', "state": "normal"}
MADE: tuple[tuple[type[Any], Callable[[int], Any]], ...] = (
    (sa.Boolean, lambda number: number % 2 == 0),
    (sa.Integer, lambda number: 10 * number),
    (sa.Float, lambda number: number + 0.1),
    (sa.LargeBinary, lambda number: bytes([number]) * 32),
    (sa.JSON, lambda number: {"of": number}),
)
VERSIONS = sorted(each.revision for each in ScriptDirectory.from_config(runner.config()).walk_revisions())
_numbers = count(1)


@pytest.fixture(params=["sqlite", pytest.param("postgresql", marks=pytest.mark.postgres)])
def url(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    if request.param == "postgresql":
        made: str = request.getfixturevalue("new_postgres_url")(f"older_{next(_numbers)}")
        return made
    return f"sqlite:///{tmp_path / 'older.db'}"


@pytest.fixture(params=VERSIONS[:-1])
def older(request: pytest.FixtureRequest, url: str) -> Iterator[sa.Engine]:
    """A store of an earlier version with three rows in each of its tables."""
    engine = database.open_engine(url)
    with database.write(engine) as conn:
        made = runner.config()
        made.attributes["connection"] = conn
        command.upgrade(made, request.param)
        _fill(conn, _tables(conn))
    yield engine
    engine.dispose()


def _tables(conn: sa.Connection) -> list[sa.Table]:
    meta = sa.MetaData()
    meta.reflect(conn)
    return [table for table in meta.sorted_tables if table.name != "alembic_version"]


def _fill(conn: sa.Connection, tables: list[sa.Table]) -> None:
    for table in tables:
        for number in range(1, ROWS + 1):
            row = {column.name: _value(column, number) for column in table.columns}
            conn.execute(sa.insert(table).values(**row))


def _value(column: sa.Column[Any], number: int) -> Any:
    """Something of the column's type, another for each row; a reference points at the row of that number."""
    if column.foreign_keys or column.name == "id":
        return number
    if column.name in SPECIAL and not isinstance(column.type, sa.Integer):
        return SPECIAL[column.name]
    made = next((make for kind, make in MADE if isinstance(column.type, kind)), None)
    return f"{column.name} {number}" if made is None else made(number)


def _said(conn: sa.Connection, tables: list[sa.Table]) -> dict[str, list[dict[str, Any]]]:
    return {
        table.name: [
            {str(name): value for name, value in row.items() if (table.name, name) not in REWORDED}
            for row in conn.execute(sa.select(table).order_by(*table.primary_key)).mappings()
        ]
        for table in tables
    }


def test_every_row_keeps_what_it_said(older: sa.Engine) -> None:
    with database.read(older) as conn:
        tables = _tables(conn)
        before = _said(conn, tables)
    assert len(tables) >= 20
    assert all(len(rows) == ROWS for rows in before.values())

    database.upgrade(older)

    with database.read(older) as conn:
        now = {table.name: table for table in _tables(conn)}
        after = _said(conn, [now[name] for name in before])
    kept = {
        name: [{key: row[key] for key in old} for row, old in zip(after[name], rows, strict=False)]
        for name, rows in before.items()
    }
    assert kept == before
