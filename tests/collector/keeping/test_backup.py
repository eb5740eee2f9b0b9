"""A backup is the store at one moment, and a restore is held against what the backup's note says.

What a copy has to hold is common practice, no source: every row, the journal's chain, nothing half written.
"""

from __future__ import annotations

import os
import shutil
import threading
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
import sqlalchemy as sa

from collector.errors import StoreError, UserError
from collector.keeping import backup as backups
from collector.keeping.restore import restore
from collector.people import sign_in
from collector.people.secret import digest
from collector.store import database, journal, people, shots, tables
from tests.store_fixtures import Seeded, a_shot

WALL = datetime(2026, 11, 27, 3, 0, tzinfo=UTC)


@pytest.fixture
def new_url(seeded: Seeded, tmp_path: Path, request: pytest.FixtureRequest) -> str:
    """A place for a restored store of the same kind of database."""
    if seeded.engine.dialect.name == "sqlite":
        return f"sqlite:///{tmp_path}/new/evenrun.db"
    make: Callable[[str], str] = request.getfixturevalue("new_postgres_url")
    return make(f"restored_{abs(hash(str(tmp_path)))}")


@pytest.fixture(autouse=True)
def _programs(seeded: Seeded, monkeypatch: pytest.MonkeyPatch) -> None:
    """PostgreSQL's programs, which Debian keeps off the path, beside its server."""
    if seeded.engine.dialect.name == "postgresql" and shutil.which("pg_dump") is None:
        folder = sorted(Path("/usr/lib/postgresql").glob("*/bin"))[-1]
        monkeypatch.setenv("PATH", str(folder), prepend=":")


def write_journal(engine: sa.Engine) -> None:
    with database.write(engine) as conn:
        journal.append(conn, at=WALL, wall_at=WALL, who="quality 1", action="release hold", subject="hold 1")


def test_a_restored_store_has_the_same_shots_and_journal(
    seeded: Seeded, new_url: str, tmp_path: Path
) -> None:
    write_journal(seeded.engine)
    copy = backups.backup(seeded.engine, tmp_path / "copies", wall=WALL, keep=3)

    rows = restore(copy, new_url, wall=WALL)

    engine = database.open_engine(new_url)
    with database.read(engine) as new, database.read(seeded.engine) as old:
        assert rows["shots"] == 100
        assert journal.head(new) == journal.head(old) != journal.BEGINNING
        assert shots.broken_digests(new) == []
        digests = sa.select(tables.shots.c.digest).order_by(tables.shots.c.id)
        assert list(new.execute(digests).scalars()) == list(old.execute(digests).scalars())
    engine.dispose()


def test_a_restored_store_knows_nobody_until_they_sign_in(
    seeded: Seeded, new_url: str, tmp_path: Path
) -> None:
    """A sign-in that was ended and a code that was used after the backup would otherwise hold again."""
    token, code = "a token", b"a digest of a code"
    with database.write(seeded.engine) as conn:
        values = {"name": "quality 1", "roles": ["quality"], "created_at": WALL, "created_by": "admin 1"}
        number = people.add_account(conn, values)
        row = {"token_digest": digest(token), "account_id": number, "kind": "browser", "at": WALL}
        people.add_sign_in(conn, row | {"expires_at": WALL + timedelta(hours=12)})
        people.add_code(conn, code, account_id=number, wall=WALL, expires_at=WALL + timedelta(days=2))
    copy = backups.backup(seeded.engine, tmp_path / "copies", wall=WALL, keep=3)
    assert sign_in.whose(seeded.engine, token, wall=WALL) is not None

    restore(copy, new_url, wall=WALL)

    engine = database.open_engine(new_url)
    assert sign_in.whose(engine, token, wall=WALL) is None
    with database.write(engine) as conn:
        assert not people.use_code(conn, code, account_id=number, wall=WALL)
    engine.dispose()


def test_a_copy_is_read_by_nobody_who_may_not_read_the_store(seeded: Seeded, tmp_path: Path) -> None:
    if seeded.engine.dialect.name == "sqlite":
        Path(seeded.engine.url.database or "").chmod(0o640)

    copy = backups.backup(seeded.engine, tmp_path, wall=WALL, keep=3)

    expected = 0o640 if seeded.engine.dialect.name == "sqlite" else 0o600
    assert copy.stat().st_mode & 0o777 == expected


def test_a_store_that_is_named_as_a_uri_is_copied_with_its_mode(tmp_path: Path) -> None:
    """The form of the URL is that of SQLAlchemy's documentation of its SQLite dialect (from memory)."""
    file = tmp_path / "shop.db"
    engine = database.open_engine(f"sqlite:///file:{file}?uri=true")
    database.upgrade(engine)
    file.chmod(0o640)

    copy = backups.backup(engine, tmp_path / "copies", wall=WALL, keep=3)

    engine.dispose()
    assert copy.stat().st_mode & 0o777 == 0o640


def test_copy_and_note_are_on_the_disk_before_the_copy_has_its_name(
    seeded: Seeded, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What fsync was not asked for may be empty after the power failed: fsync(2)."""
    asked: list[tuple[int, bool]] = []
    fsync = os.fsync

    def noted(file: int) -> None:
        asked.append((os.fstat(file).st_ino, any(backups.copies(tmp_path))))
        fsync(file)

    monkeypatch.setattr(os, "fsync", noted)
    copy = backups.backup(seeded.engine, tmp_path, wall=WALL, keep=3)

    note = copy.with_name(copy.name + backups.NOTE)
    places = [(path.stat().st_ino, named) for path, named in ((copy, False), (note, False), (tmp_path, True))]
    assert asked == places


def test_shots_go_on_while_a_backup_is_made(seeded: Seeded, tmp_path: Path) -> None:
    """The copy holds a beginning of what was written meanwhile, without a hole."""
    stop = threading.Event()
    written: list[int] = []

    def go_on() -> None:
        while not stop.is_set():
            with database.write(seeded.engine) as conn:
                new = a_shot(press_id=seeded.press_id, run_id=seeded.run_id, counter=1000 + len(written))
                written.extend(shots.insert(conn, [new]))

    writer = threading.Thread(target=go_on)
    writer.start()
    try:
        copies = [
            backups.backup(seeded.engine, tmp_path, wall=WALL + timedelta(seconds=n), keep=9)
            for n in range(3)
        ]
    finally:
        stop.set()
        writer.join()

    assert written
    assert len(backups.copies(tmp_path)) == len(copies) == 3
    if seeded.engine.dialect.name == "sqlite":
        copied = database.open_engine(f"sqlite:///{copies[-1]}")
        with database.read(copied) as conn:
            found = list(
                conn.execute(sa.select(tables.shots.c.counter).order_by(tables.shots.c.id)).scalars()
            )
        copied.dispose()
        assert found == [*range(100), *range(1000, 1000 + len(found) - 100)]


def test_only_the_newest_copies_stay(seeded: Seeded, tmp_path: Path) -> None:
    folder = tmp_path / "copies"

    made = [backups.backup(seeded.engine, folder, wall=WALL + timedelta(days=n), keep=2) for n in range(4)]

    assert backups.copies(folder) == made[-2:]
    assert {path.suffix for path in folder.iterdir()} == {made[0].suffix, ".json"}
    assert len(list(folder.iterdir())) == 4


def test_a_copy_that_was_changed_is_not_restored(seeded: Seeded, new_url: str, tmp_path: Path) -> None:
    copy = backups.backup(seeded.engine, tmp_path, wall=WALL, keep=1)
    changed = bytearray(copy.read_bytes())
    changed[-1] ^= 1
    copy.write_bytes(changed)

    with pytest.raises(UserError, match="not the one its note describes"):
        restore(copy, new_url, wall=WALL)


def test_a_copy_without_its_note_is_told_from_one_that_is_not_there(
    seeded: Seeded, new_url: str, tmp_path: Path
) -> None:
    copy = backups.backup(seeded.engine, tmp_path, wall=WALL, keep=1)
    copy.with_name(copy.name + backups.NOTE).unlink()
    with pytest.raises(UserError, match=rf"has no note {copy.name}{backups.NOTE} beside it.*copy the note"):
        restore(copy, new_url, wall=WALL)
    with pytest.raises(UserError, match=r"there is no backup .*away\.db"):
        restore(tmp_path / "away.db", new_url, wall=WALL)


def test_a_journal_that_was_changed_before_the_backup_is_told_of(
    seeded: Seeded, new_url: str, tmp_path: Path
) -> None:
    write_journal(seeded.engine)
    with database.write(seeded.engine) as conn:
        guard = {
            "sqlite": "DROP TRIGGER journal_no_UPDATE",
            "postgresql": "ALTER TABLE journal DISABLE TRIGGER ALL",
        }
        conn.exec_driver_sql(guard[seeded.engine.dialect.name])
        conn.execute(sa.update(tables.journal).values(who="operator 1"))
    copy = backups.backup(seeded.engine, tmp_path, wall=WALL, keep=1)

    with pytest.raises(StoreError, match="journal is not what was backed up"):
        restore(copy, new_url, wall=WALL)


def test_a_store_is_never_written_over(seeded: Seeded, database_url: str, tmp_path: Path) -> None:
    copy = backups.backup(seeded.engine, tmp_path / "copies", wall=WALL, keep=1)

    with pytest.raises(UserError, match="already"):
        restore(copy, database_url, wall=WALL)


def test_a_log_that_a_killed_store_left_behind_is_not_mixed_into_the_new_one(
    seeded: Seeded, new_url: str, tmp_path: Path
) -> None:
    """SQLite documentation, "How To Corrupt An SQLite Database File", chapter 1.3 and 1.4 (from memory)."""
    if seeded.engine.dialect.name == "postgresql":
        pytest.skip("PostgreSQL keeps its log itself")
    copy = backups.backup(seeded.engine, tmp_path / "copies", wall=WALL, keep=1)
    left = Path(f"{sa.make_url(new_url).database}-wal")
    left.parent.mkdir()
    left.write_bytes(b"of another store")

    with pytest.raises(UserError, match="-wal already; move it away"):
        restore(copy, new_url, wall=WALL)


def test_a_folder_that_cannot_be_made_is_said(seeded: Seeded, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")

    with pytest.raises(UserError, match=r"cannot be written.*backup\.folder"):
        backups.backup(seeded.engine, tmp_path / "file" / "copies", wall=WALL, keep=1)
