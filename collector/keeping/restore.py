"""A backup back into a store that is new: checked before, and held against its note after.

An existing store is never written over: name another, or move the old one away. What the copy knows of people
may be old: a sign-in that was ended since, or a code that was used, would hold again; so all of them end.
"""

from __future__ import annotations

import os
import shutil
from datetime import datetime
from pathlib import Path

import sqlalchemy as sa

from collector.errors import StoreError, UserError
from collector.keeping import backup
from collector.keeping.backup import Note
from collector.store import database, journal, people
from collector.store.tables import metadata


def restore(copy: Path, url: str, *, wall: datetime) -> dict[str, int]:
    """Make a store from a backup.

    Parameters
    ----------
    copy : Path
        Made by :func:`collector.keeping.backup.backup`, with its note beside it.
    url : str
        The new store: an SQLite file that does not exist, or a PostgreSQL database without tables.
    wall : datetime
        Real time, at which sign-ins and one-time codes end.

    Returns
    -------
    dict of str to int
        Rows by table, as they are in the new store, which is brought to the version of this program.

    Raises
    ------
    UserError
        The copy is not what its note says, the store exists, or it is of the other kind of database.
    StoreError
        What was restored is not what was backed up; the new store is left for a look.
    """
    if not copy.is_file():
        raise UserError(f"there is no backup {copy}; `evenrun backup --list` names those that are there")
    note = backup.note_of(copy)
    target = sa.make_url(url)
    _check(copy, note, target)
    if target.get_backend_name() == "sqlite":
        _place_file(copy, Path(target.database or ""))
    else:
        _load_dump(copy, target)
    engine = database.open_engine(url)
    try:
        database.upgrade(engine)
        rows = _compare(engine, note)
        with database.write(engine) as conn:
            people.end_everything(conn, wall=wall)
        return rows
    finally:
        engine.dispose()


def _check(copy: Path, note: Note, target: sa.URL) -> None:
    if backup.digest_of(copy) != note.digest:
        raise UserError(f"the backup {copy} is not the one its note describes; take another one")
    if note.database != target.get_backend_name():
        raise UserError(
            f"the backup {copy} is of {note.database}, and database_url names {target.get_backend_name()}; "
            "restore into a store of the same kind"
        )


def _place_file(copy: Path, target: Path) -> None:
    # A log that is left of another store would be written over the new one when it is opened.
    for path in (target, *(Path(f"{target}{end}") for end in ("-wal", "-shm", "-journal"))):
        if path.exists():
            raise UserError(f"there is a store at {path} already; move it away, or name another with --to")
    target.parent.mkdir(parents=True, exist_ok=True)
    unfinished = target.with_name(f"{target.name}.unfinished")
    shutil.copyfile(copy, unfinished)
    with unfinished.open("rb") as file:
        os.fsync(file.fileno())
    unfinished.replace(target)
    backup.settle(target.parent)


def _load_dump(copy: Path, target: sa.URL) -> None:
    engine = database.open_engine(target.render_as_string(hide_password=False))
    try:
        with database.read(engine) as conn:
            there = set(sa.inspect(conn).get_table_names()) & set(metadata.tables)
    finally:
        engine.dispose()
    if there:
        raise UserError("the database of database_url has tables of evenrun already; make an empty one")
    command = [backup.program("pg_restore"), "--no-owner", "--exit-on-error", "--single-transaction"]
    backup.run_postgresql([*command, f"--dbname={backup.connection_uri(target)}", str(copy)], target)


def _compare(engine: sa.Engine, note: Note) -> dict[str, int]:
    """The copy may be a moment younger than its note, never older; the journal still holds."""
    with database.read(engine) as conn:
        rows = backup.row_counts(conn)
        broken = journal.verify(conn)
        known = journal.has(conn, bytes.fromhex(note.journal_head))
    fewer = [name for name, count in note.rows.items() if rows.get(name, 0) < count]
    if fewer:
        raise StoreError(f"the restored store has fewer rows than were backed up in {', '.join(fewer)}")
    if broken or not known:
        raise StoreError("the restored journal is not what was backed up; `evenrun verify` says where")
    return rows
