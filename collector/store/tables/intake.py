"""What came in that is no shot: refusals, and the files that were imported."""

from __future__ import annotations

from sqlalchemy import Column, Integer, LargeBinary, String, Table, Text, UniqueConstraint

from collector.store.tables.base import metadata, row_id
from collector.store.types import UtcTime

refusals = Table(
    "refusals", metadata, row_id(),
    Column("received_at", UtcTime, nullable=False, index=True),
    Column("source", String, nullable=False),
    Column("position", String, nullable=False),   # file:row, or topic and packet
    Column("topic", String),
    Column("reason", String, nullable=False),
    Column("detail", Text, nullable=False),
    Column("remedy", Text, nullable=False),
    Column("raw", LargeBinary, nullable=False),
    Column("raw_digest", LargeBinary, nullable=False),  # the same record refused twice is kept once
    Column("state", String, nullable=False),      # kept | replayed
    Column("replayed_at", UtcTime),
    UniqueConstraint("source", "position", "raw_digest"),
)

imports = Table(
    "imports", metadata, row_id(),
    Column("file_name", String, nullable=False),
    Column("file_digest", LargeBinary, nullable=False, unique=True),
    Column("profile", String, nullable=False),
    Column("imported_at", UtcTime, nullable=False),
    Column("accepted", Integer, nullable=False),
    Column("duplicates", Integer, nullable=False),
    Column("refused", Integer, nullable=False),
)
