"""Which collector has which presses, and which collectors there are."""

from __future__ import annotations

from sqlalchemy import Column, Integer, String, Table, UniqueConstraint

from collector.store.tables.base import metadata
from collector.store.types import BigId, UtcTime

leases = Table(
    "leases", metadata,
    Column("site", String, primary_key=True),
    Column("name", String, primary_key=True),     # the MQTT client id: the broker's session is the lease's
    Column("part", Integer, nullable=False),      # this part of the presses, from 1 ...
    Column("parts", Integer, nullable=False),     # ... of so many
    Column("holder", String),                     # null: free
    Column("until", UtcTime, nullable=False),     # wall time of the database; then anybody may take it
    # Grows at every change of hands. The unique constraint is there so that PostgreSQL takes a change of it
    # for a change of a key, which waits for transactions that rest on it, while a renewal does not.
    Column("fence", BigId, nullable=False),
    Column("ready_at", UtcTime),                  # since when its session on the broker has its subscriptions
    UniqueConstraint("site", "name", "fence"),
)

collectors = Table(
    "collectors", metadata,
    Column("site", String, primary_key=True),
    Column("name", String, primary_key=True),     # as `holder` of a lease
    Column("until", UtcTime, nullable=False),     # wall time of the database; silent since then: gone
)
