"""Stores to test against: each test of `engine` runs on SQLite and, where it can, on PostgreSQL.

    engine         a fresh store with its tables, once a database
    database_url   the URL of the same store
    make_shot      builds a NewShot; any field can be given
    seeded         the store of `engine` with one press, one run and 100 shots in it
"""

from __future__ import annotations

import itertools
import os
import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path
from typing import Any

import psycopg
import pytest
import sqlalchemy as sa

from collector.store import shots, tables
from collector.store.database import open_engine, upgrade, write
from collector.store.shots import NewShot
from tests import postgres_cluster

STARTED = datetime(2026, 11, 24, 10, 0, tzinfo=UTC)
MakeShot = Callable[..., NewShot]
_names = itertools.count(1)


@dataclass(frozen=True)
class Seeded:
    """What `seeded` put into the store."""

    engine: sa.Engine
    press_id: int
    run_id: int
    shot_ids: list[int]
    started_at: datetime


@pytest.fixture(scope="session")
def sqlite_template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An SQLite file with empty tables, to be copied."""
    path = tmp_path_factory.mktemp("store") / "template.db"
    engine = open_engine(f"sqlite:///{path}")
    upgrade(engine)
    engine.dispose()
    return path


@pytest.fixture(scope="session")
def postgres_url() -> Iterator[str]:
    """URL of a throw-away cluster; skips where it cannot run, fails there when CI=true."""
    if lacking := postgres_cluster.missing():
        say = pytest.fail if os.environ.get("CI") == "true" else pytest.skip
        say(f"this test needs {lacking}")
    with postgres_cluster.cluster() as url:
        yield url


@pytest.fixture(scope="session")
def postgres_template(postgres_url: str) -> str:
    """Name of a PostgreSQL database with empty tables, to be copied."""
    engine = open_engine(new_database(postgres_url, "template"))
    upgrade(engine)
    engine.dispose()
    return "template"


@pytest.fixture
def new_postgres_url(postgres_url: str) -> Callable[[str], str]:
    """Make an empty PostgreSQL database by name; gives its URL."""
    return partial(new_database, postgres_url)


@pytest.fixture(params=["sqlite", pytest.param("postgresql", marks=pytest.mark.postgres)])
def database_url(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """URL of a fresh store with its tables."""
    if request.param == "sqlite":
        path = tmp_path / "evenrun.db"
        shutil.copy(request.getfixturevalue("sqlite_template"), path)
        return f"sqlite:///{path}"
    # Asked for here, so that a run without PostgreSQL never starts one.
    url = request.getfixturevalue("postgres_url")
    return new_database(url, f"test_{next(_names)}", request.getfixturevalue("postgres_template"))


@pytest.fixture
def engine(database_url: str) -> Iterator[sa.Engine]:
    """A fresh store with its tables."""
    opened = open_engine(database_url)
    yield opened
    opened.dispose()


@pytest.fixture
def make_shot() -> MakeShot:
    """Build a shot of press 1, one minute after the one before by its counter."""
    return a_shot


@pytest.fixture
def seeded(engine: sa.Engine, make_shot: MakeShot) -> Seeded:
    """One press, one run and 100 shots, the first 10 of them startup shots."""
    with write(engine) as conn:
        press_id = _add(conn, tables.presses, site="lowland", name="P1")
        run_id = _add(conn, tables.runs, press_id=press_id, name="R-1", opened_at=STARTED, opened_by="form")
        new = [
            make_shot(press_id=press_id, run_id=run_id, counter=n, phase="startup" if n < 10 else "charted")
            for n in range(100)
        ]
        shot_ids = shots.insert(conn, new)
    return Seeded(engine, press_id, run_id, shot_ids, STARTED)


def new_database(url: str, name: str, template: str | None = None) -> str:
    """Make a database in the cluster of `url`; its own URL."""
    copied = f" TEMPLATE {template}" if template else ""
    with psycopg.connect(url.replace("+psycopg", ""), autocommit=True) as connection:
        connection.execute(f"CREATE DATABASE {name}{copied}")
    return url.replace("/postgres?", f"/{name}?")


def a_shot(**changed: Any) -> NewShot:
    """Build a shot; the values move a little with its counter so that no two are alike."""
    counter = changed.get("counter", 0)
    ended_at = STARTED + timedelta(minutes=counter or 0)
    fields: dict[str, Any] = {
        "press_id": 1,
        "epoch": 0,
        "counter": counter,
        "ended_at": ended_at,
        "received_at": ended_at + timedelta(milliseconds=120),
        "tray": str(1 + (counter or 0) // 40),
        "tray_position": 1 + (counter or 0) % 40,
        "phase": "charted",
        "share": 0.25,
        "share_key": "cushion",
        "source": "test",
        "values": {
            "injection_time": 2.4 + 0.001 * ((counter or 0) % 7),
            "cushion": 6.2,
            "peak_melt_pressure": 74.2 + 0.1 * ((counter or 0) % 5),
            "barrel_temperature.1": 205.0,
        },
        "setpoints": {"cooling_time": 36.0},
        "originals": {"peak_melt_pressure": (742.0 + (counter or 0) % 5, "bar")},
    }
    return NewShot(**(fields | changed))


def _add(conn: sa.Connection, table: sa.Table, **row: Any) -> int:
    key = conn.execute(sa.insert(table).values(**row)).inserted_primary_key
    assert key is not None
    return int(key[0])
