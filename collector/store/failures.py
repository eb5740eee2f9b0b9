"""What a database says when it cannot go on, turned into a sentence with a remedy.

References
----------
SQLite, "Result and Error Codes"; PostgreSQL 15 manual, Appendix A, "PostgreSQL Error Codes" (SQLSTATE).
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import sqlalchemy as sa

from collector.errors import StoreError, StoreUnavailable
from collector.store import imports

LOCKED = "is locked by another process; close what holds it (a backup, an SQL shell) and it goes on by itself"
IMPORTING = (
    "is written to by another process, which imports {files}; it goes on by itself, at the latest when that "
    "has ended (`evenrun imports` tells)"
)
FULL = "has no space left; free space on its disk and it goes on by itself"
READ_ONLY = "may only be read; give the user that runs evenrun write permission to it and to its folder"
UNOPENED = (
    "cannot be opened; see that its folder is there and that the user that runs evenrun may write in it, "
    "and it goes on by itself"
)
AWAY = "cannot be reached; check that it is there and running, and that database_url is right"
BROKEN_DISK = "cannot be read or written (disk error); check the disk and its cable before anything else"
CROWDED = "takes no more connections; close some or raise its limit, and it goes on by itself"
RETRY = "undid the transaction in favor of another one; it is tried again"
NO_TABLES = "has no tables of evenrun, or older ones; start the collector once to bring it up to date"
NO_DATABASE = "is not a database; point database_url at another file, or restore this one from a back-up"

# Primary result codes; the extended ones begin with the same words.
SQLITE = {
    "SQLITE_BUSY": LOCKED,
    "SQLITE_LOCKED": LOCKED,
    "SQLITE_FULL": FULL,
    "SQLITE_READONLY": READ_ONLY,
    "SQLITE_CANTOPEN": UNOPENED,
    "SQLITE_PERM": READ_ONLY,
    "SQLITE_IOERR": BROKEN_DISK,
}
# SQLSTATE, or its first two characters, which are the class.
POSTGRESQL = {
    "25006": READ_ONLY,
    "40": RETRY,
    "53100": FULL,
    "53300": CROWDED,
    "53": FULL,
    "55P03": LOCKED,
    "57": AWAY,
    "58": BROKEN_DISK,
    "08": AWAY,
}


@contextmanager
def translated(engine: sa.Engine) -> Iterator[None]:
    """Turn what the database driver raises inside into named errors; programming errors pass unchanged."""
    try:
        yield
    except sa.exc.DBAPIError as error:
        named = _named(error)
        if named is None:
            raise
        kind, words = named
        if words == READ_ONLY:
            # A connection that was opened where nothing may be written stays so, even when that is mended.
            engine.dispose()
        if words == LOCKED:
            words = _who_locks(engine)
        raise kind(f"the database {place(engine.url)} {words} ({error.orig})") from error
    except sa.exc.TimeoutError as error:  # every connection of the pool is in use
        raise StoreUnavailable(f"the database {place(engine.url)} {CROWDED}") from error


def _who_locks(engine: sa.Engine) -> str:
    """An import of ours is named; whatever else holds a lock does not tell us."""
    files: list[str] = []
    with suppress(sa.exc.SQLAlchemyError), engine.connect() as conn:  # whoever locks may let nobody read
        files = imports.running(conn)
    return IMPORTING.format(files=", ".join(files)) if files else LOCKED


def place(url: sa.URL) -> str:
    """Where a database is, without its password."""
    if url.get_backend_name() == "sqlite":
        return url.database or "in memory"
    return url.set(password=None, query={}).render_as_string().partition("://")[2]


def no_folder(folder: Path, error: OSError) -> StoreUnavailable:
    """The error for a folder that cannot be made."""
    return StoreUnavailable(
        f"the folder {folder} for the database cannot be made ({error.strerror}); "
        "make it by hand, or let database_url name another"
    )


def _named(error: sa.exc.DBAPIError) -> tuple[type[StoreError], str] | None:
    sqlite_name = getattr(error.orig, "sqlite_errorname", None)
    if sqlite_name is not None:
        return _named_sqlite(sqlite_name, str(error.orig))
    state = getattr(error.orig, "sqlstate", None)
    if state == "42P01":
        return StoreError, NO_TABLES
    if state is None:  # no server ever answered, or the connection broke while it was used
        gone = error.connection_invalidated or isinstance(error, sa.exc.OperationalError)
        return (StoreUnavailable, AWAY) if gone else None
    words = POSTGRESQL.get(state) or POSTGRESQL.get(state[:2])
    return None if words is None else (StoreUnavailable, words)


def _named_sqlite(name: str, text: str) -> tuple[type[StoreError], str] | None:
    if name == "SQLITE_NOTADB" or name.startswith("SQLITE_CORRUPT"):
        return StoreError, NO_DATABASE
    if text.startswith("no such table"):
        return StoreError, NO_TABLES
    for code, words in SQLITE.items():
        if name == code or name.startswith(f"{code}_"):
            return StoreUnavailable, words
    return None
