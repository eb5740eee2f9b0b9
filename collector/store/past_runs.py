"""Runs of the past that are being imported, by press and file, with the state of their charts."""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa

from collector.store.tables import past_runs

_c = past_runs.c


def load(conn: sa.Connection, press_id: int, source: str) -> tuple[int, dict[str, Any]] | None:
    """Run and state of what a file is in, None if it is in no run of the past."""
    query = sa.select(_c.run_id, _c.state).where(_c.press_id == press_id, _c.source == source)
    found = conn.execute(query).one_or_none()
    return None if found is None else (found.run_id, found.state)


def save(conn: sa.Connection, press_id: int, source: str, run_id: int, state: dict[str, Any]) -> None:
    """Keep the state that the next transaction goes on from."""
    changes = {"run_id": run_id, "state": state}
    own = sa.update(past_runs).where(_c.press_id == press_id, _c.source == source)
    if conn.execute(own.values(**changes)).rowcount == 0:
        conn.execute(sa.insert(past_runs).values(press_id=press_id, source=source, **changes))


def forget(conn: sa.Connection, press_id: int, source: str) -> None:
    """The file is through; its shots and its run stay."""
    conn.execute(sa.delete(past_runs).where(_c.press_id == press_id, _c.source == source))
