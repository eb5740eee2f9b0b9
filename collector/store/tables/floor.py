"""What stands on the floor and what goes on there: presses, recipes, runs, events."""

from __future__ import annotations

from sqlalchemy import (
    Boolean,
    Column,
    Float,
    ForeignKey,
    Index,
    Integer,
    String,
    Table,
    Text,
    UniqueConstraint,
)

from collector.store.tables.base import metadata, row_id
from collector.store.types import Json, UtcTime

presses = Table(
    "presses", metadata, row_id(),
    Column("site", String, nullable=False),
    Column("name", String, nullable=False),
    Column("state", String),                      # last state message: online, offline, automatic, ...
    Column("state_at", UtcTime),
    Column("last_shot_at", UtcTime),              # ended_at of the newest shot
    Column("usual_cycle_s", Float),               # median cycle of recent shots, for silence and stops
    Column("heard_at", UtcTime),                  # service time at which its newest live shot arrived
    Column("clock_behind_s", Float),              # by how much its clock is behind ours; null: not known
    UniqueConstraint("site", "name"),
)

recipes = Table(
    "recipes", metadata, row_id(),
    Column("name", String, nullable=False),
    Column("version", Integer, nullable=False),
    Column("mold", String),
    Column("blend", String),
    Column("qualified_by", String),
    Column("qualified_at", UtcTime),
    # {key: {"setpoint": 36.0, "allowed": 0.5}} in canonical units
    Column("setpoints", Json, nullable=False),
    UniqueConstraint("name", "version"),
)

runs = Table(
    "runs", metadata, row_id(),
    Column("press_id", ForeignKey("presses.id"), nullable=False),
    Column("name", String, nullable=False),
    Column("mold", String),
    Column("blend", String),
    Column("lot", String),                        # the lot at the start; later lots are events
    Column("color", String),
    Column("recipe_id", ForeignKey("recipes.id")),
    Column("opened_at", UtcTime, nullable=False),
    Column("closed_at", UtcTime),
    Column("opened_by", String, nullable=False),  # message | form | file | inferred
    Column("trial", Boolean),                     # made to learn what settings do: never charted
    UniqueConstraint("press_id", "name"),
)

events = Table(
    "events", metadata, row_id(),
    Column("press_id", ForeignKey("presses.id"), nullable=False),
    Column("at", UtcTime, nullable=False),
    Column("shot_id", ForeignKey("shots.id")),    # first shot under the new condition, where known
    # run | lot | tray | setpoint | stop | startup | state | gap | late | epoch | clock
    # | chart_restart | limits | withdrawn (of an import that was undone)
    Column("kind", String, nullable=False),
    Column("key", String),
    Column("old", Json),
    Column("new", Json),
    Column("note", Text),
    Column("source", String, nullable=False),
)
Index("ix_events_press_time", events.c.press_id, events.c.at)
