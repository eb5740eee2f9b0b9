"""What people did: the journal."""

from __future__ import annotations

from sqlalchemy import Column, LargeBinary, String, Table, Text

from collector.store.tables.base import metadata, row_id
from collector.store.types import Json, UtcTime

journal = Table(
    "journal", metadata, row_id(),
    Column("at", UtcTime, nullable=False),
    Column("wall_at", UtcTime, nullable=False),
    Column("who", String, nullable=False),
    Column("action", String, nullable=False),
    Column("subject", String, nullable=False),    # "alarm 12"
    Column("before", Json),
    Column("after", Json),
    Column("why", Text),
    Column("previous_digest", LargeBinary, nullable=False, unique=True),  # no two follow the same one
    Column("digest", LargeBinary, nullable=False, unique=True),
)
