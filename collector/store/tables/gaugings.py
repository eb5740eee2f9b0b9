"""Readings of discs."""

from __future__ import annotations

from sqlalchemy import Boolean, Column, Float, ForeignKey, Index, Integer, LargeBinary, String, Table

from collector.store.tables.base import metadata, row_id
from collector.store.types import BigId, UtcTime

gaugings = Table(
    "gaugings", metadata, row_id(),
    Column("characteristic", String, nullable=False),  # dome | diameter | weight | ...
    Column("value", Float, nullable=False),       # canonical unit
    Column("unit", String, nullable=False),
    Column("original_value", Float),
    Column("original_unit", String),
    Column("gauged_at", UtcTime),                 # null: not known
    Column("age_h", Float),                       # null: not known
    Column("received_at", UtcTime, nullable=False),
    Column("site", String, nullable=False),
    Column("press_id", ForeignKey("presses.id")),
    Column("run_id", ForeignKey("runs.id")),
    Column("run_name", String),                   # as named; its run may arrive later
    Column("shot_id", ForeignKey("shots.id"), index=True),  # null: not joined yet
    Column("joined_by", String),                  # shot | tray | order
    Column("counter", BigId),
    Column("tray", String),
    Column("tray_position", Integer),
    Column("disc_mark", String),
    Column("order_batch", String),
    Column("order_index", Integer),               # place in the list, from 0
    Column("order_offset", Integer),              # shots of the run to skip before place 0
    Column("gauge", String),
    Column("temperature_degc", Float),
    Column("definition", String),
    Column("who", String),
    Column("source", String, nullable=False),
    Column("identity", LargeBinary, nullable=False, unique=True),  # the same gauging again changes nothing
    Column("withdrawn_at", UtcTime),              # undone on the form; kept
    Column("judged", Boolean),                    # null: not held against its tolerance since it changed
)
Index("ix_gaugings_run", gaugings.c.run_id, gaugings.c.characteristic)
Index("ix_gaugings_waiting", gaugings.c.press_id, gaugings.c.joined_by)
Index("ix_gaugings_batch", gaugings.c.order_batch)
Index("ix_gaugings_judged", gaugings.c.judged, gaugings.c.id)
