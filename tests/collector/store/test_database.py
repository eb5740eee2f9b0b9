"""Opening, upgrading, and what happens when the database cannot go on."""

from __future__ import annotations

import os
import sqlite3
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path

import psycopg
import pytest
import sqlalchemy as sa
from alembic.autogenerate import compare_metadata
from alembic.runtime.migration import MigrationContext

from collector.errors import SettingsError, StoreError, StoreUnavailable
from collector.store import database, heartbeats, imports, probe, tables
from collector.store.database import open_engine, read, upgrade, write

PRESS = {"site": "lowland", "name": "P1"}


def add_press(engine: sa.Engine, name: str = "P1") -> None:
    add_presses(engine, name)


def add_presses(engine: sa.Engine, *names: str) -> None:
    with write(engine) as conn:
        for name in names:
            conn.execute(sa.insert(tables.presses).values(site="lowland", name=name))


def count(engine: sa.Engine) -> int:
    with read(engine) as conn:
        return int(conn.execute(sa.select(sa.func.count()).select_from(tables.presses)).scalar_one())


def test_migrations_end_at_the_tables_of_the_code(engine: sa.Engine) -> None:
    with read(engine) as conn:
        context = MigrationContext.configure(conn, opts={"compare_type": True})

        assert compare_metadata(context, tables.metadata) == []


def test_upgrading_again_changes_nothing(engine: sa.Engine) -> None:
    add_press(engine)

    upgrade(engine)

    assert count(engine) == 1


def test_upgrading_an_upgraded_store_needs_no_write_lock(engine: sa.Engine) -> None:
    with write(engine):
        upgrade(engine)


UPGRADE = """
import sys
from collector.store.database import open_engine, upgrade
engine = open_engine(sys.argv[1])
upgrade(engine)
engine.dispose()
"""


@pytest.mark.parametrize("kind", ["sqlite", pytest.param("postgresql", marks=pytest.mark.postgres)])
def test_four_processes_may_upgrade_at_once(
    kind: str, tmp_path: Path, request: pytest.FixtureRequest
) -> None:
    if kind == "sqlite":
        url = f"sqlite:///{tmp_path}/new/evenrun.db"
    else:
        url = request.getfixturevalue("new_postgres_url")("empty")
    command = [sys.executable, "-W", "error", "-c", UPGRADE, url]
    started = [subprocess.Popen(command, stderr=subprocess.PIPE, text=True) for _ in range(4)]
    errors = [process.communicate(timeout=60)[1] for process in started]

    assert errors == [""] * 4
    engine = open_engine(url)
    add_press(engine)
    assert count(engine) == 1
    engine.dispose()


def test_a_store_of_a_newer_version_is_refused_with_the_remedy(engine: sa.Engine) -> None:
    with write(engine) as conn:
        conn.exec_driver_sql("UPDATE alembic_version SET version_num = '9999'")

    with pytest.raises(StoreError, match=r"newer version.*install that version"):
        upgrade(engine)


def test_a_failed_transaction_leaves_nothing(engine: sa.Engine) -> None:
    with pytest.raises(sa.exc.IntegrityError):
        add_presses(engine, "P1", "P2", "P1")

    assert count(engine) == 0


def test_a_programming_error_is_not_dressed_up(engine: sa.Engine) -> None:
    with pytest.raises(sa.exc.DBAPIError), read(engine) as conn:
        conn.exec_driver_sql("SELEC 1")


def test_a_missing_reference_is_refused(engine: sa.Engine) -> None:
    with pytest.raises(sa.exc.IntegrityError), write(engine) as conn:
        conn.execute(sa.insert(tables.chart_restarts).values(press_id=7, at=0, who="operator 1", why="x"))


def test_a_reader_sees_the_last_commit_while_another_writes(engine: sa.Engine) -> None:
    with write(engine) as conn:
        conn.execute(sa.insert(tables.presses).values(**PRESS))
        assert count(engine) == 0
    assert count(engine) == 1


def test_a_page_sees_one_state_of_the_store(engine: sa.Engine) -> None:
    question = sa.select(sa.func.count()).select_from(tables.presses)
    with read(engine) as conn:
        before = conn.execute(question).scalar()
        add_press(engine)

        assert conn.execute(question).scalar() == before == 0
    assert count(engine) == 1


def test_a_store_without_tables_says_what_to_do(tmp_path: Path) -> None:
    engine = open_engine(f"sqlite:///{tmp_path}/empty.db")

    with pytest.raises(StoreError, match="start the collector once"):
        count(engine)
    engine.dispose()


def test_sqlite_runs_in_write_ahead_mode_and_waits_for_the_disk(tmp_path: Path) -> None:
    engine = open_engine(f"sqlite:///{tmp_path}/evenrun.db")
    with read(engine) as conn:
        settings = [
            conn.exec_driver_sql(f"PRAGMA {name}").scalar()
            for name in ("journal_mode", "synchronous", "foreign_keys", "busy_timeout")
        ]
    engine.dispose()

    # 2 is FULL (SQLite documentation, PRAGMA synchronous).
    assert settings == ["wal", 2, 1, database.BUSY_TIMEOUT_MS]


def test_a_locked_sqlite_file_is_unavailable_and_then_available(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(database, "BUSY_TIMEOUT_MS", 50)
    path = tmp_path / "evenrun.db"
    engine = open_engine(f"sqlite:///{path}")
    upgrade(engine)
    other = sqlite3.connect(path, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")

    with pytest.raises(StoreUnavailable, match=r"evenrun\.db is locked by another process; close"):
        add_press(engine)
    other.execute("ROLLBACK")
    other.close()
    add_press(engine)

    assert count(engine) == 1
    engine.dispose()


def test_an_import_of_ours_that_holds_the_database_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(database, "BUSY_TIMEOUT_MS", 50)
    engine, other = (open_engine(f"sqlite:///{tmp_path}/evenrun.db") for _ in range(2))
    upgrade(engine)
    with write(other) as conn:
        at = datetime(2026, 11, 24, tzinfo=UTC)
        import_id = imports.begin(conn, "week 48.csv", b"digest", "press", at=at)

    with write(other), pytest.raises(StoreUnavailable, match=r"another process, which imports week 48\.csv;"):
        add_press(engine)
    with write(other) as conn:
        imports.let_go(conn, import_id)
    with write(other), pytest.raises(StoreUnavailable, match="locked by another process; close what"):
        add_press(engine)

    engine.dispose()
    other.dispose()


def test_a_full_sqlite_file_is_unavailable_and_keeps_what_it_had(tmp_path: Path) -> None:
    engine = open_engine(f"sqlite:///{tmp_path}/evenrun.db")
    upgrade(engine)
    add_press(engine)

    def limit(connection: sqlite3.Connection, _record: object) -> None:
        pages = connection.execute("PRAGMA page_count").fetchone()[0]
        connection.execute(f"PRAGMA max_page_count = {pages + 2}")

    engine.dispose()
    sa.event.listen(engine, "connect", limit)
    with pytest.raises(StoreUnavailable, match="no space left; free space"):
        add_presses(engine, *[f"P{number}" + "x" * 2_000 for number in range(2, 100)])

    assert count(engine) == 1
    engine.dispose()


def test_a_read_only_sqlite_file_can_be_read_but_not_written(tmp_path: Path) -> None:
    path = tmp_path / "evenrun.db"
    engine = open_engine(f"sqlite:///{path}")
    upgrade(engine)
    add_press(engine)
    with read(engine):  # keeps the log open, as a running collector does
        only_read = open_engine(f"sqlite:///file:{path}?mode=ro&uri=true")
        upgrade(only_read)

        assert count(only_read) == 1
        with pytest.raises(StoreUnavailable, match="may only be read; give the user"):
            add_press(only_read, "P2")
        only_read.dispose()
    engine.dispose()


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write to any file; run as another user")
def test_a_file_without_write_permission_is_unavailable(tmp_path: Path) -> None:
    path = tmp_path / "evenrun.db"
    engine = open_engine(f"sqlite:///{path}")
    upgrade(engine)
    engine.dispose()
    path.chmod(0o444)

    with pytest.raises(StoreUnavailable, match="may only be read"):
        add_press(engine)
    engine.dispose()


def test_a_file_that_is_no_database_says_so(tmp_path: Path) -> None:
    path = tmp_path / "shots.csv"
    path.write_text("counter,injection_time\n" * 100)
    engine = open_engine(f"sqlite:///{path}")

    with pytest.raises(StoreError, match="is not a database; point database_url"):
        upgrade(engine)
    engine.dispose()


def test_a_folder_that_cannot_be_made_says_so(tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("a file, not a folder")

    with pytest.raises(StoreUnavailable, match=r"taken/data for the database cannot be made .*by hand"):
        open_engine(f"sqlite:///{tmp_path}/taken/data/evenrun.db")


@pytest.mark.parametrize(
    ("url", "words"),
    [
        ("nonsense", "is no database URL; write sqlite:///PATH"),
        ("mysql://host/name", "names mysql; only sqlite and postgresql"),
    ],
)
def test_a_url_that_cannot_be_used_is_refused_with_the_remedy(url: str, words: str) -> None:
    with pytest.raises(SettingsError, match=words):
        open_engine(url)


def test_a_connection_that_could_not_write_is_not_used_again(tmp_path: Path) -> None:
    engine = open_engine(f"sqlite:///{tmp_path / 'evenrun.db'}")
    upgrade(engine)
    with engine.connect() as connection:  # the pool keeps it, as one that was opened on a read-only disk
        connection.exec_driver_sql("PRAGMA query_only = ON")

    with pytest.raises(StoreUnavailable, match="may only be read"):
        add_press(engine)
    add_press(engine)

    assert count(engine) == 1
    engine.dispose()


def test_an_absent_server_is_unavailable_and_its_password_stays_secret(tmp_path: Path) -> None:
    engine = open_engine(f"postgresql://someone:secret@/shop?host={tmp_path}")

    with pytest.raises(StoreUnavailable, match="shop cannot be reached; check") as caught:
        upgrade(engine)
    assert "secret" not in str(caught.value)


@pytest.mark.postgres
@pytest.mark.parametrize("database_url", ["postgresql"], indirect=True)
class TestPostgresql:
    """Failures that need the server."""

    def write_on_an_ended_connection(self, engine: sa.Engine, url: str) -> None:
        with write(engine) as conn:
            number = conn.execute(sa.select(sa.func.pg_backend_pid())).scalar_one()
            with psycopg.connect(url.replace("+psycopg", "")) as other:
                other.execute("SELECT pg_terminate_backend(%s, 5000)", (number,))
            conn.execute(sa.insert(tables.presses).values(**PRESS))

    def test_a_read_only_server_is_unavailable(self, engine: sa.Engine) -> None:
        with write(engine) as conn:
            name = conn.engine.url.database
            conn.exec_driver_sql(f"ALTER DATABASE {name} SET default_transaction_read_only = on")
        engine.dispose()

        assert count(engine) == 0
        with pytest.raises(StoreUnavailable, match="may only be read"):
            add_press(engine)

    def test_a_lock_that_another_holds_is_said_after_a_while_instead_of_waited_for(
        self, database_url: str, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr(database, "BUSY_TIMEOUT_MS", 200)
        engine = open_engine(database_url)
        with psycopg.connect(database_url.replace("+psycopg", "")) as other:
            other.execute("LOCK TABLE presses IN ACCESS EXCLUSIVE MODE")

            with pytest.raises(StoreUnavailable, match="is locked by another process"):
                add_press(engine)
        add_press(engine)
        engine.dispose()

    def test_a_connection_that_was_ended_is_unavailable_and_then_opened_anew(
        self, engine: sa.Engine, database_url: str
    ) -> None:
        with pytest.raises(StoreUnavailable, match="cannot be reached"):
            self.write_on_an_ended_connection(engine, database_url)

        add_press(engine)
        assert count(engine) == 1


def test_who_asks_whether_a_store_takes_anything_in_is_told_why_not_and_writes_nothing(
    engine: sa.Engine, database_url: str
) -> None:
    add_press(engine)
    with write(engine) as conn:
        heartbeats.beat(conn, "collector", wall=datetime(2026, 11, 24, tzinfo=UTC), now=datetime.now(UTC))
    assert probe.why_not_writable(engine) is None
    other = open_engine(database_url)
    with write(other) as conn:
        if other.dialect.name == "postgresql":
            conn.exec_driver_sql("LOCK TABLE heartbeats IN EXCLUSIVE MODE")
        said = probe.why_not_writable(engine)
    other.dispose()
    assert said is not None
    assert "is locked by another process; close what holds it" in said
    assert probe.why_not_writable(engine) is None
    with engine.connect() as conn:
        ask = "PRAGMA busy_timeout" if engine.dialect.name == "sqlite" else "SHOW lock_timeout"
        assert conn.exec_driver_sql(ask).scalar() in (database.BUSY_TIMEOUT_MS, "5s")
        assert conn.execute(sa.select(tables.heartbeats.c.name)).scalars().all() == ["collector"]
