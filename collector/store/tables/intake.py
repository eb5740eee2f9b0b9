"""What came in besides shots: refusals, files that were imported, counters that are missing."""

from __future__ import annotations

from sqlalchemy import (
    Column,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    String,
    Table,
    Text,
    UniqueConstraint,
)

from collector.store.tables.base import metadata, row_id
from collector.store.types import BigId, Json, UtcTime

refusals = Table(
    "refusals", metadata, row_id(),
    Column("received_at", UtcTime, nullable=False, index=True),
    Column("source", String, nullable=False),
    Column("position", String, nullable=False),   # file:row, or topic and packet
    Column("topic", String),
    Column("reason", String, nullable=False),
    Column("detail", Text, nullable=False),
    Column("remedy", Text, nullable=False),
    Column("raw", LargeBinary, nullable=False),
    Column("raw_digest", LargeBinary, nullable=False),  # the same record refused twice is kept once
    Column("state", String, nullable=False),      # kept | replayed | put_aside
    Column("replayed_at", UtcTime),
    UniqueConstraint("source", "position", "raw_digest"),
)

imports = Table(
    "imports", metadata, row_id(),
    Column("file_name", String, nullable=False),
    Column("file_digest", LargeBinary, nullable=False, index=True),
    Column("profile", String, nullable=False),
    Column("imported_at", UtcTime, nullable=False),
    Column("accepted", Integer, nullable=False),
    Column("duplicates", Integer, nullable=False),
    Column("refused", Integer, nullable=False),
    # Its shots and gaugings are those of its file name with ids above the first and up to the last of these.
    Column("after_shot_id", BigId),
    Column("last_shot_id", BigId),                # null: the import did not end
    Column("after_gauging_id", BigId),
    Column("last_gauging_id", BigId),
    Column("undone_at", UtcTime),
    Column("undone_by", String),
    Column("undone_why", Text),
    Column("alive_at", UtcTime),  # the process that runs it, when last; null: none does
)
# Of one file name one import runs at a time: only so can it be told which rows are whose.
Index(
    "uq_imports_running",
    imports.c.file_name,
    unique=True,
    sqlite_where=imports.c.alive_at.is_not(None),
    postgresql_where=imports.c.alive_at.is_not(None),
)

withdrawn_shots = Table(                          # shots of an undone import, and where they were before
    "withdrawn_shots", metadata,
    Column("shot_id", BigId, primary_key=True, autoincrement=False),
    Column("import_id", ForeignKey("imports.id"), nullable=False, index=True),
    Column("press_id", ForeignKey("presses.id"), nullable=False),
    Column("run_id", ForeignKey("runs.id")),
)

counter_gaps = Table(                             # counters that a press skipped, until they arrive
    "counter_gaps", metadata, row_id(),
    Column("press_id", ForeignKey("presses.id"), nullable=False),
    Column("epoch", Integer, nullable=False),
    Column("after_counter", BigId, nullable=False),   # the last one before the gap
    Column("before_counter", BigId, nullable=False),  # the first one after it
    Column("at", UtcTime, nullable=False),        # end of the shot after the gap
    Column("missing", Integer, nullable=False),   # still
    Column("closed_at", UtcTime),
    Column("closed_by", String),                  # a person; null when the shots arrived
    Column("why", Text),
)
Index("ix_counter_gaps_press", counter_gaps.c.press_id, counter_gaps.c.closed_at)

past_runs = Table(                                # runs older than the press's newest shots, being imported
    "past_runs", metadata,
    Column("press_id", ForeignKey("presses.id"), primary_key=True),
    Column("source", String, primary_key=True),
    Column("run_id", ForeignKey("runs.id"), nullable=False),
    Column("state", Json, nullable=False),        # collector.press_state.PressState
)
