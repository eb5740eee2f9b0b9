"""What waits to be handed over."""

from __future__ import annotations

from sqlalchemy import Boolean, Column, Index, Integer, String, Table, Text

from collector.store.tables.base import metadata, row_id
from collector.store.types import UtcTime

outbox = Table(
    "outbox", metadata, row_id(),
    Column("created_at", UtcTime, nullable=False),       # wall
    Column("channel", String, nullable=False),    # mqtt | log | ...
    Column("topic", String, nullable=False),
    Column("payload", Text, nullable=False),
    Column("retain", Boolean, nullable=False),
    Column("state", String, nullable=False),      # waiting | sending | sent | failed | superseded
    Column("attempts", Integer, nullable=False),
    Column("next_try_at", UtcTime, nullable=False),      # wall
    Column("claimed_by", String),
    Column("claimed_at", UtcTime),                # wall
    Column("sent_at", UtcTime),                   # wall
    Column("last_error", Text),
)
Index("ix_outbox_due", outbox.c.state, outbox.c.next_try_at)
