"""The service itself: its clock and its signs of life."""

from __future__ import annotations

from sqlalchemy import Column, Float, Integer, String, Table

from collector.store.tables.base import metadata
from collector.store.types import Json, UtcTime

clocks = Table(
    "clocks", metadata,
    Column("id", Integer, primary_key=True),      # always 1
    Column("wall_anchor", UtcTime, nullable=False),
    Column("service_anchor", UtcTime, nullable=False),
    Column("speed", Float, nullable=False),
)

heartbeats = Table(
    "heartbeats", metadata,
    Column("name", String, primary_key=True),     # "collector"
    Column("wall_at", UtcTime, nullable=False),
    Column("at", UtcTime, nullable=False),
    Column("detail", Json),
)
