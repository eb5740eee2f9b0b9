"""Whether the store takes anything in at this moment: asked where a collector fell silent, to say why."""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa

from collector.errors import StoreUnavailable
from collector.store import failures
from collector.store.database import BUSY_TIMEOUT_MS, writing
from collector.store.tables import heartbeats

PATIENCE_MS = 200  # a screen waits for the answer

_NOTHING = sa.update(heartbeats).where(sa.false()).values(name=heartbeats.c.name)


def why_not_writable(engine: sa.Engine) -> str | None:
    """Why the store can be written by nobody now, as a sentence without a full stop; None where it can.

    Nothing is written. A lock that others hold for longer than `PATIENCE_MS` counts.
    """
    try:
        with failures.translated(engine), engine.connect() as conn:
            _wait(conn, PATIENCE_MS)
            try:
                with writing(conn) as begun:
                    conn.execute(_NOTHING)
                    begun.rollback()
            finally:
                _wait(conn, BUSY_TIMEOUT_MS)
    except StoreUnavailable as error:
        return str(error)
    return None


def _wait(conn: sa.Connection, most_ms: int) -> None:
    """How long this connection waits for a lock; it goes back to the others with the usual time."""
    raw: Any = conn.connection.dbapi_connection
    if conn.dialect.name == "sqlite":
        raw.execute(f"PRAGMA busy_timeout = {most_ms}")
    else:
        raw.execute(f"SET lock_timeout = {most_ms}")
        raw.commit()
