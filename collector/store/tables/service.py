"""The service itself: its clock, its signs of life, what came of its timed jobs."""

from __future__ import annotations

from sqlalchemy import Boolean, Column, Float, Integer, String, Table, Text

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

job_results = Table(
    "job_results", metadata,
    Column("name", String, primary_key=True),
    Column("started_at", UtcTime, nullable=False),  # wall
    Column("finished_at", UtcTime),               # wall; older than the start while it runs
    Column("took_s", Float),
    Column("failed", Boolean, nullable=False),
    Column("outcome", Text),                      # one sentence
    Column("missed", Text),                       # what is said of starts that nobody was there for
    Column("missed_until", UtcTime),              # wall
    Column("failed_since", UtcTime),              # wall; null while it goes well
)
