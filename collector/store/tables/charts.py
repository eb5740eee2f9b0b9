"""Limits, the state of the charts, and their signals."""

from __future__ import annotations

from sqlalchemy import (
    Boolean,
    Column,
    Float,
    ForeignKey,
    Index,
    Integer,
    SmallInteger,
    String,
    Table,
    Text,
    UniqueConstraint,
)

from collector.store.tables.base import metadata, row_id
from collector.store.types import Json, UtcTime

limits = Table(
    "limits", metadata, row_id(),
    Column("press_id", ForeignKey("presses.id"), nullable=False),
    Column("context", String, nullable=False),    # mold|blend|color|recipe version (RunRow.context)
    Column("run_id", ForeignKey("runs.id")),      # provisional limits belong to one run
    Column("key", String, nullable=False),
    Column("version", Integer, nullable=False),
    Column("standing", String, nullable=False),   # provisional | usable | firm
    Column("baseline", Json, nullable=False),     # rules.limits.Baseline.to_dict()
    Column("charts", Json, nullable=False),       # [{"chart": "cusum", "parameters": {...}}, ...]
    Column("cost", Json),                         # false alarms a shift and delays, from rules.budget
    Column("from_shot_id", ForeignKey("shots.id")),   # in force from this shot on
    Column("at", UtcTime, nullable=False),
    Column("retired_at", UtcTime),
    Column("approved_by", String),                # null: provisional, made by the service
    Column("reason", Text),
    UniqueConstraint("press_id", "context", "run_id", "key", "version"),
)
Index("ix_limits_run", limits.c.run_id)  # what the floor screen asks every second

engine_states = Table(
    "engine_states", metadata,
    Column("press_id", ForeignKey("presses.id"), primary_key=True),
    Column("last_shot_id", ForeignKey("shots.id")),
    Column("state", Json, nullable=False),        # collector.press_state.PressState
)

chart_restarts = Table(                           # asked for by a person; the pipeline carries it out
    "chart_restarts", metadata, row_id(),
    Column("press_id", ForeignKey("presses.id"), nullable=False),
    Column("key", String),                        # null: every chart of the press
    Column("at", UtcTime, nullable=False),
    Column("who", String, nullable=False),
    Column("why", Text, nullable=False),
    Column("applied_at", UtcTime),
)

signals = Table(
    "signals", metadata, row_id(),
    Column("press_id", ForeignKey("presses.id"), nullable=False),
    Column("shot_id", ForeignKey("shots.id"), nullable=False),
    # chart | setting (recipe check) | sense (setpoint sense) | engineering
    Column("kind", String, nullable=False),
    Column("key", String, nullable=False),
    Column("chart", String),
    Column("rule", String, nullable=False),
    Column("direction", SmallInteger, nullable=False),
    Column("value", Float),
    Column("statistic", Float),
    Column("share", Float),
    Column("points", Integer, nullable=False),    # how many shots take part
    Column("limits_id", ForeignKey("limits.id")),
    Column("alarm_id", ForeignKey("alarms.id")),
    Column("changed", Text),                      # why a replay added or withdrew it; null: first verdict
    Column("withdrawn", Boolean, nullable=False, default=False),
)
Index("ix_signals_press_shot", signals.c.press_id, signals.c.shot_id)
Index("ix_signals_alarm", signals.c.alarm_id)
