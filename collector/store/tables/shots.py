"""Shots and what was corrected of them.

A characteristic's values live in `shots.characteristics`; how is decided in `collector.store.shot_values`.
"""

from __future__ import annotations

from sqlalchemy import (
    Boolean,
    Column,
    Float,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    String,
    Table,
    UniqueConstraint,
)

from collector.store.tables.base import metadata, row_id
from collector.store.types import BigId, Json, JsonText, UtcTime

shots = Table(
    "shots", metadata, row_id(),
    Column("press_id", ForeignKey("presses.id"), nullable=False),
    Column("epoch", Integer, nullable=False),     # counter epoch
    Column("counter", BigId),                     # null where a source has none
    Column("ended_at", UtcTime, nullable=False),
    Column("received_at", UtcTime, nullable=False),
    Column("run_id", ForeignKey("runs.id")),
    Column("tray", String),
    Column("tray_position", Integer),
    Column("phase", String, nullable=False),      # startup | baseline | charted | trial
    Column("share", Float),                       # largest chart statistic as a share of its limit
    Column("share_key", String),                  # ... and the characteristic it belongs to
    Column("signaled", Boolean, nullable=False),
    Column("time_reconstructed", Boolean, nullable=False),
    Column("source", String, nullable=False),
    # {"peak_melt_pressure": 74.2, ...} canonical units; read by name in plain SQL
    Column("characteristics", JsonText, nullable=False),
    Column("setpoints", JsonText),
    # {"peak_melt_pressure": [742.0, "bar"], ...}: only what was converted, or has a unit of its own
    Column("originals", JsonText),
    Column("setpoint_originals", JsonText),       # the same for setpoints, whose keys may be those of values
    Column("not_written", JsonText),              # keys whose zero meant "not written"
    Column("digest", LargeBinary, nullable=False),
    UniqueConstraint("press_id", "epoch", "counter"),
)
# Without a counter the time is the identity.
Index(
    "uq_shots_press_time_no_counter", shots.c.press_id, shots.c.ended_at, unique=True,
    sqlite_where=shots.c.counter.is_(None), postgresql_where=shots.c.counter.is_(None),
)
Index("ix_shots_press", shots.c.press_id, shots.c.id)     # the newest shots of a press
Index("ix_shots_press_time", shots.c.press_id, shots.c.ended_at)
Index("ix_shots_run", shots.c.run_id, shots.c.id)
Index("ix_shots_tray", shots.c.tray, shots.c.press_id)

amendments = Table(
    "amendments", metadata, row_id(),
    Column("shot_id", ForeignKey("shots.id"), nullable=False, index=True),
    Column("at", UtcTime, nullable=False),
    Column("before", Json, nullable=False),
    Column("after", Json, nullable=False),
    Column("source", String, nullable=False),
)
