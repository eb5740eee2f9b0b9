"""Runs whose values were moved to a file."""

from __future__ import annotations

from sqlalchemy import Column, ForeignKey, Index, Integer, LargeBinary, String, Table

from collector.store.tables.base import metadata, row_id
from collector.store.types import UtcTime

archives = Table(
    "archives", metadata, row_id(),
    Column("run_id", ForeignKey("runs.id"), nullable=False),
    Column("file_name", String, nullable=False),  # in the folder of the setting retention.folder
    Column("file_digest", LargeBinary, nullable=False),
    Column("shots", Integer, nullable=False),
    Column("last_shot_id", ForeignKey("shots.id"), nullable=False),  # later stragglers keep their values here
    Column("at", UtcTime, nullable=False),
    Column("who", String, nullable=False),
    Column("restored_at", UtcTime),
)
# A run's values are in one place at a time.
Index(
    "uq_archives_run_not_restored", archives.c.run_id, unique=True,
    sqlite_where=archives.c.restored_at.is_(None), postgresql_where=archives.c.restored_at.is_(None),
)
