"""A whole copy of the store, made while the collector goes on writing.

SQLite copies itself with ``VACUUM INTO``: one reading transaction, so the copy is the store at one moment,
and in write-ahead mode nobody waits for it. PostgreSQL has ``pg_dump`` for that, in its custom format. Beside
each copy lies a note (JSON): when, how many rows of each table, the head of the journal, and the digest of
the copy, so that a restore can be held against it.

References
----------
SQLite documentation, "VACUUM", clause INTO. PostgreSQL 15 manual, chapter 26.1, "SQL Dump".
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from datetime import datetime
from hashlib import file_digest
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from collector.errors import StoreError, StoreUnavailable, UserError
from collector.store import database, failures, journal
from collector.store.tables import metadata

STEM = "evenrun-"
SQLITE, POSTGRESQL = ".db", ".dump"
NOTE = ".json"
UNFINISHED = ".unfinished"
DAY_S = 86_400


@dataclass(frozen=True, slots=True, kw_only=True)
class Note:
    """What lies beside a copy.

    Attributes
    ----------
    made_at : str
        Wall time, ISO 8601, UTC.
    database : str
        "sqlite" or "postgresql".
    version : str
        Migration that the store stood at.
    rows : mapping of str to int
        By table; at least so many, as the copy may be a moment younger.
    journal_head : str
        Digest of the newest journal entry, hexadecimal.
    digest : str
        SHA-256 of the copy, hexadecimal.
    """

    made_at: str
    database: str
    version: str
    rows: Mapping[str, int]
    journal_head: str
    digest: str


def backup(engine: sa.Engine, folder: Path, *, wall: datetime, keep: int) -> Path:
    """Copy the store into a folder and remove the oldest copies beyond `keep`.

    Parameters
    ----------
    engine : Engine
        The store.
    folder : Path
        Made if it is not there.
    wall : datetime
        Real time, for the name of the copy.
    keep : int
        How many copies of this kind of database stay.

    Returns
    -------
    Path
        The copy; its note has the same name with ``.json`` added.

    Raises
    ------
    UserError
        The folder cannot be written, or PostgreSQL's programs are not installed.
    StoreUnavailable
        The store cannot be read for now.
    """
    kind = SQLITE if engine.dialect.name == "sqlite" else POSTGRESQL
    copy = folder / f"{STEM}{wall:%Y%m%dT%H%M%SZ}{kind}"
    unfinished = copy.with_name(f"{copy.name}{UNFINISHED}")
    about = _about(engine)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        sweep(folder, f"{STEM}*", wall)
        try:
            _open_to_nobody_else(unfinished, engine)
            (_copy_sqlite if kind == SQLITE else _dump_postgresql)(engine, unfinished)
            _finish(unfinished, copy, Note(made_at=wall.isoformat(), digest=digest_of(unfinished), **about))
        finally:
            unfinished.unlink(missing_ok=True)
        _thin_out(folder, kind, keep, made=copy)
    except OSError as error:
        raise UserError(
            f"the backup {copy} cannot be written ({error.strerror}); free space, or let backup.folder name "
            "another"
        ) from error
    return copy


def copies(folder: Path) -> list[Path]:
    """The copies in a folder, oldest first."""
    return sorted(path for kind in (SQLITE, POSTGRESQL) for path in folder.glob(f"{STEM}*{kind}"))


def note_of(copy: Path) -> Note:
    """The note beside a copy.

    Raises
    ------
    UserError
        There is none, or it cannot be read.
    """
    path = copy.with_name(copy.name + NOTE)
    try:
        return Note(**json.loads(path.read_text(encoding="utf-8")))
    except FileNotFoundError as error:
        raise UserError(
            f"the backup {copy} has no note {path.name} beside it to be checked against; copy the note "
            "from where the backup was made, or name a backup that has one"
        ) from error
    except (OSError, ValueError, TypeError) as error:
        what = error.strerror if isinstance(error, OSError) else error
        raise UserError(
            f"the note {path} of the backup cannot be read ({what}); name a backup with its note beside it"
        ) from error


def digest_of(path: Path) -> str:
    """SHA-256 of a file, hexadecimal."""
    with path.open("rb") as file:
        return file_digest(file, "sha256").hexdigest()


def row_counts(conn: sa.Connection) -> dict[str, int]:
    """How many rows each table has."""
    return {
        name: conn.execute(sa.select(sa.func.count()).select_from(table)).scalar_one()
        for name, table in sorted(metadata.tables.items())
    }


def program(name: str) -> str:
    """Where a program of PostgreSQL is.

    Raises
    ------
    UserError
        It is not installed here.
    """
    found = shutil.which(name)
    if found is None:
        raise UserError(f"{name} is not installed here; install PostgreSQL's client programs and try again")
    return found


def run_postgresql(command: list[str], url: sa.URL) -> None:
    """Run a program of PostgreSQL against a database; the password goes through its environment.

    Raises
    ------
    StoreUnavailable
        The program failed; its first line says why.
    """
    password = {"PGPASSWORD": url.password} if url.password else {}
    done = subprocess.run(command, env=os.environ | password, capture_output=True, text=True, check=False)
    if done.returncode:
        said = done.stderr.strip().splitlines() or ["it said nothing"]
        raise StoreUnavailable(f"{Path(command[0]).name} failed for {failures.place(url)}: {said[0]}")


def connection_uri(url: sa.URL) -> str:
    """A PostgreSQL URL as its own programs read it, without the password."""
    return url.set(drivername="postgresql", password=None).render_as_string(hide_password=False)


def _about(engine: sa.Engine) -> dict[str, Any]:
    with database.read(engine) as conn:
        version = conn.exec_driver_sql("SELECT version_num FROM alembic_version").scalar_one()
        return {
            "database": engine.dialect.name, "version": version, "rows": row_counts(conn),
            "journal_head": journal.head(conn).hex(),
        }  # fmt: skip


def _open_to_nobody_else(target: Path, engine: sa.Engine) -> None:
    """Make the file, empty, for those who may read the store: what people are known by is in the copy too."""
    target.touch(mode=0o600)
    if engine.dialect.name == "sqlite" and (store := _file_of(engine)):
        shutil.copymode(store, target)


def _file_of(engine: sa.Engine) -> str:
    """Where SQLite keeps the store, which its URL may say in more than one way; empty in memory."""
    with database.read(engine) as conn:
        main = sa.text("SELECT file FROM pragma_database_list WHERE name = 'main'")
        return str(conn.execute(main).scalar() or "")


def _copy_sqlite(engine: sa.Engine, target: Path) -> None:
    with failures.translated(engine), engine.connect() as connection:
        driver = connection.connection.driver_connection  # a VACUUM cannot run inside a transaction
        assert driver is not None
        try:
            driver.execute("VACUUM INTO ?", (str(target),))
        except driver.OperationalError as error:
            raise StoreError(
                f"the backup {target} could not be made ({error}); see that its disk has room for the store"
            ) from error


def _dump_postgresql(engine: sa.Engine, target: Path) -> None:
    command = [program("pg_dump"), "--format=custom", "--no-owner", f"--file={target}"]
    run_postgresql([*command, connection_uri(engine.url)], engine.url)


def _finish(unfinished: Path, copy: Path, note: Note) -> None:
    """Nothing carries the name of a copy before all of it is on the disk."""
    with unfinished.open("rb") as file:
        os.fsync(file.fileno())
    text = json.dumps(asdict(note), indent=2, sort_keys=True)
    with copy.with_name(copy.name + NOTE).open("w", encoding="utf-8") as beside:
        beside.write(f"{text}\n")
        beside.flush()
        os.fsync(beside.fileno())
    unfinished.replace(copy)
    settle(copy.parent)


def settle(folder: Path) -> None:
    """See to it that the names in a folder are on the disk, as their files are."""
    place = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(place)
    finally:
        os.close(place)


def sweep(folder: Path, names: str, wall: datetime) -> None:
    """Remove what a killed process left behind unfinished; of one that is at work now it is younger."""
    for left in folder.glob(f"{names}{UNFINISHED}"):
        if left.stat().st_mtime < wall.timestamp() - DAY_S:
            left.unlink(missing_ok=True)


def _thin_out(folder: Path, kind: str, keep: int, *, made: Path) -> None:
    """Keep what was made last, whatever the clock says of the others."""
    others = [path for path in folder.glob(f"{STEM}*{kind}") if path != made]
    for old in sorted(others, reverse=True)[keep - 1 :]:
        old.unlink()
        old.with_name(old.name + NOTE).unlink(missing_ok=True)
