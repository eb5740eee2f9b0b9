"""What waits to be handed over, who was told of what, and which channels work."""

from __future__ import annotations

from sqlalchemy import (
    Boolean,
    Column,
    ForeignKey,
    Index,
    Integer,
    String,
    Table,
    Text,
    UniqueConstraint,
    false,
)

from collector.store.tables.base import metadata, row_id
from collector.store.types import UtcTime

outbox = Table(
    "outbox", metadata, row_id(),
    Column("created_at", UtcTime, nullable=False),       # wall
    Column("channel", String, nullable=False),    # mqtt | log | name of a channel to people
    Column("topic", String, nullable=False),
    Column("payload", Text, nullable=False),
    Column("retain", Boolean, nullable=False),
    # waiting | sending | sent | failed | superseded | maybe_sent
    Column("state", String, nullable=False),
    Column("attempts", Integer, nullable=False),
    Column("next_try_at", UtcTime, nullable=False),      # wall
    Column("claimed_by", String),
    Column("claimed_at", UtcTime),                # wall
    Column("sent_at", UtcTime),                   # wall
    Column("last_error", Text),
    # A message to people: never sent a second time while the first may have arrived.
    Column("once", Boolean, nullable=False, server_default=false()),
)
Index("ix_outbox_due", outbox.c.state, outbox.c.next_try_at)

notices = Table(                                  # that a channel was told of an alarm
    "notices", metadata, row_id(),
    Column("alarm_id", ForeignKey("alarms.id"), nullable=False),
    Column("channel", String, nullable=False),
    Column("number", Integer, nullable=False),    # of this alarm to this channel, from 1
    Column("at", UtcTime, nullable=False),
    Column("reason", String, nullable=False),     # new | grew | again
    Column("characteristics", Integer, nullable=False),  # how much of the alarm there was then
    Column("occurrences", Integer, nullable=False),
    Column("outbox_id", ForeignKey("outbox.id"), nullable=False),
    UniqueConstraint("alarm_id", "channel", "number"),  # of two collectors, one tells it
)
Index("ix_notices_outbox", notices.c.outbox_id)  # what to take back is asked every second

channels = Table(                                 # how the channels of the settings fare
    "channels", metadata,
    Column("name", String, primary_key=True),
    Column("last_sent_at", UtcTime),              # wall
    Column("last_error_at", UtcTime),             # wall
    Column("last_error", Text),
    Column("disabled_at", UtcTime),               # wall; null while it is used
    Column("disabled_why", Text),
)

reports = Table(                                  # what is told once a shift or so, and was
    "reports", metadata, row_id(),
    Column("site", String),                       # null: told before reports named it
    Column("kind", String, nullable=False),       # shift_summary | gauging_due
    Column("subject", String, nullable=False),    # "early 2026-03-02": told once
    Column("from_at", UtcTime, nullable=False),
    Column("until_at", UtcTime, nullable=False),
    Column("text", Text, nullable=False),
    UniqueConstraint("site", "kind", "subject"),
)
