"""Which runs had their values moved to a file, see :mod:`collector.keeping.archive`."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import sqlalchemy as sa

from collector.store.tables import archives, presses, runs, shots


@dataclass(frozen=True, slots=True, kw_only=True)
class Archived:
    """One run in the archive; `restored_at` is None while its values are only there."""

    run_id: int
    press: str
    run: str
    file_name: str
    shots: int
    at: datetime
    restored_at: datetime | None


def listed(conn: sa.Connection) -> list[Archived]:
    """Every run that was ever moved, oldest first."""
    query = (
        sa.select(
            archives.c.run_id, presses.c.name.label("press"), runs.c.name.label("run"), archives.c.file_name,
            archives.c.shots, archives.c.at, archives.c.restored_at,
        )
        .select_from(archives.join(runs, archives.c.run_id == runs.c.id).join(presses))
        .order_by(archives.c.id)
    )  # fmt: skip
    return [Archived(**row) for row in conn.execute(query).mappings()]


def is_archived(conn: sa.Connection, run_id: int) -> bool:
    """Whether the values of a run are in its file only."""
    where = (archives.c.run_id == run_id, archives.c.restored_at.is_(None))
    return conn.execute(sa.select(archives.c.id).where(*where)).first() is not None


def archived_runs() -> sa.Select[tuple[int]]:
    """Query of the ids of runs whose values are in their file only."""
    return sa.select(archives.c.run_id).where(archives.c.restored_at.is_(None))


def values_moved() -> sa.ColumnElement[bool]:
    """Condition on a row of `shots`: its values are in a file, so its digest is checked there."""
    its = (archives.c.run_id == shots.c.run_id, shots.c.id <= archives.c.last_shot_id)
    return sa.select(archives.c.id).where(*its, archives.c.restored_at.is_(None)).correlate(shots).exists()


def is_moved(conn: sa.Connection, shot_id: int) -> bool:
    """Whether the values of a shot are in a file, so that a repeated shot cannot be held against them."""
    moved = sa.select(shots.c.id).where(shots.c.id == shot_id, values_moved())
    return conn.execute(moved).first() is not None
