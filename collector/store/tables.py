"""Every table, in the order a shot passes through them.

Times are :class:`collector.store.types.UtcTime`. `at` is service (floor) time unless the name says wall.
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
    MetaData,
    SmallInteger,
    String,
    Table,
    Text,
    UniqueConstraint,
)

from collector.store.types import BigId, Json, JsonText, UtcTime

NAMING = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "fk": "fk_%(table_name)s_%(column_0_N_name)s_%(referred_table_name)s",
    "pk": "pk_%(table_name)s",
}
metadata = MetaData(naming_convention=NAMING)


def _id() -> Column[int]:
    return Column("id", BigId, primary_key=True, autoincrement=True)


# --- the floor -------------------------------------------------------------------------------------

presses = Table(
    "presses", metadata, _id(),
    Column("site", String, nullable=False),
    Column("name", String, nullable=False),
    Column("state", String),                      # last state message: online, offline, automatic, ...
    Column("state_at", UtcTime),
    Column("last_shot_at", UtcTime),              # ended_at of the newest shot
    Column("usual_cycle_s", Float),               # median cycle of recent shots, for silence and stops
    UniqueConstraint("site", "name"),
)

recipes = Table(
    "recipes", metadata, _id(),
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
    "runs", metadata, _id(),
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
    UniqueConstraint("press_id", "name"),
)

shots = Table(
    "shots", metadata, _id(),
    Column("press_id", ForeignKey("presses.id"), nullable=False),
    Column("epoch", Integer, nullable=False),     # counter epoch
    Column("counter", BigId),                     # null where a source has none
    Column("ended_at", UtcTime, nullable=False),
    Column("received_at", UtcTime, nullable=False),
    Column("run_id", ForeignKey("runs.id")),
    Column("tray", String),
    Column("tray_position", Integer),
    Column("phase", String, nullable=False),      # startup | baseline | charted
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
    "amendments", metadata, _id(),
    Column("shot_id", ForeignKey("shots.id"), nullable=False, index=True),
    Column("at", UtcTime, nullable=False),
    Column("before", Json, nullable=False),
    Column("after", Json, nullable=False),
    Column("source", String, nullable=False),
)

events = Table(
    "events", metadata, _id(),
    Column("press_id", ForeignKey("presses.id"), nullable=False),
    Column("at", UtcTime, nullable=False),
    Column("shot_id", ForeignKey("shots.id")),    # first shot under the new condition, where known
    # run | lot | tray | setpoint | stop | startup | state | gap | epoch | chart_restart | limits
    Column("kind", String, nullable=False),
    Column("key", String),
    Column("old", Json),
    Column("new", Json),
    Column("note", Text),
    Column("source", String, nullable=False),
)
Index("ix_events_press_time", events.c.press_id, events.c.at)

refusals = Table(
    "refusals", metadata, _id(),
    Column("received_at", UtcTime, nullable=False, index=True),
    Column("source", String, nullable=False),
    Column("position", String, nullable=False),   # file:row, or topic and packet
    Column("topic", String),
    Column("reason", String, nullable=False),
    Column("detail", Text, nullable=False),
    Column("remedy", Text, nullable=False),
    Column("raw", LargeBinary, nullable=False),
    Column("raw_digest", LargeBinary, nullable=False),  # the same record refused twice is kept once
    Column("state", String, nullable=False),      # kept | replayed
    Column("replayed_at", UtcTime),
    UniqueConstraint("source", "position", "raw_digest"),
)

imports = Table(
    "imports", metadata, _id(),
    Column("file_name", String, nullable=False),
    Column("file_digest", LargeBinary, nullable=False, unique=True),
    Column("profile", String, nullable=False),
    Column("imported_at", UtcTime, nullable=False),
    Column("accepted", Integer, nullable=False),
    Column("duplicates", Integer, nullable=False),
    Column("refused", Integer, nullable=False),
)

# --- charts ----------------------------------------------------------------------------------------

limits = Table(
    "limits", metadata, _id(),
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

engine_states = Table(
    "engine_states", metadata,
    Column("press_id", ForeignKey("presses.id"), primary_key=True),
    Column("last_shot_id", ForeignKey("shots.id")),
    Column("state", Json, nullable=False),        # collector.press_state.PressState
)

chart_restarts = Table(                           # asked for by a person; the pipeline carries it out
    "chart_restarts", metadata, _id(),
    Column("press_id", ForeignKey("presses.id"), nullable=False),
    Column("key", String),                        # null: every chart of the press
    Column("at", UtcTime, nullable=False),
    Column("who", String, nullable=False),
    Column("why", Text, nullable=False),
    Column("applied_at", UtcTime),
)

signals = Table(
    "signals", metadata, _id(),
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

# --- alarms and what people do -----------------------------------------------------------------------

alarms = Table(
    "alarms", metadata, _id(),
    Column("press_id", ForeignKey("presses.id"), nullable=False),
    Column("run_id", ForeignKey("runs.id")),
    Column("kind", String, nullable=False),       # process | recipe | data | gauging | silence
    # IEC 62682: active_unacknowledged | active_acknowledged | returned_unacknowledged | normal
    Column("state", String, nullable=False),
    Column("opened_at", UtcTime, nullable=False),
    Column("changed_at", UtcTime, nullable=False),
    Column("first_shot_id", ForeignKey("shots.id")),      # first signaling shot
    Column("last_shot_id", ForeignKey("shots.id")),       # last signaling shot
    Column("change_shot_id", ForeignKey("shots.id")),     # estimated first shot of the change
    Column("change_low_shot_id", ForeignKey("shots.id")),  # its confidence set, earliest
    Column("change_high_shot_id", ForeignKey("shots.id")),  # ... and latest
    Column("quiet_shots", Integer, nullable=False),       # consecutive shots without a signal
    # [{"key", "direction", "before", "after", "unit"}], largest share first
    Column("characteristics", Json, nullable=False),
    Column("headline", Text, nullable=False),     # "Mold core 3.1 degC warmer"
    Column("causes", Json),                       # [{"cause", "checks", "cautions"}] "often seen with"
    Column("acknowledged_by", String),
    Column("acknowledged_at", UtcTime),
    Column("closed_by", String),
    Column("closed_at", UtcTime),                 # null while it needs a person
    Column("cause", Text),
    Column("note", Text),
)
Index("ix_alarms_open", alarms.c.press_id, alarms.c.closed_at)

alarm_steps = Table(
    "alarm_steps", metadata, _id(),
    Column("alarm_id", ForeignKey("alarms.id"), nullable=False, index=True),
    Column("at", UtcTime, nullable=False),
    Column("event", String, nullable=False),      # occur | grow | acknowledge | clear | reoccur | close
    Column("before", String),
    Column("after", String, nullable=False),
    Column("who", String, nullable=False),        # a person, or "service"
    Column("note", Text),
)

holds = Table(
    "holds", metadata, _id(),
    Column("press_id", ForeignKey("presses.id"), nullable=False),
    Column("run_id", ForeignKey("runs.id")),
    Column("alarm_id", ForeignKey("alarms.id")),
    Column("from_shot_id", ForeignKey("shots.id"), nullable=False),
    Column("to_shot_id", ForeignKey("shots.id")),  # null: still growing
    Column("state", String, nullable=False),      # open | released | scrapped
    Column("reason", Text, nullable=False),
    Column("opened_by", String, nullable=False),
    Column("opened_at", UtcTime, nullable=False),
    Column("closed_by", String),
    Column("closed_at", UtcTime),
    Column("note", Text),
)

gaugings = Table(
    "gaugings", metadata, _id(),
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
)
Index("ix_gaugings_run", gaugings.c.run_id, gaugings.c.characteristic)
Index("ix_gaugings_waiting", gaugings.c.press_id, gaugings.c.joined_by)
Index("ix_gaugings_batch", gaugings.c.order_batch)

outbox = Table(
    "outbox", metadata, _id(),
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

journal = Table(
    "journal", metadata, _id(),
    Column("at", UtcTime, nullable=False),
    Column("wall_at", UtcTime, nullable=False),
    Column("who", String, nullable=False),
    Column("action", String, nullable=False),
    Column("subject", String, nullable=False),    # "alarm 12"
    Column("before", Json),
    Column("after", Json),
    Column("why", Text),
    Column("previous_digest", LargeBinary, nullable=False, unique=True),  # no two follow the same one
    Column("digest", LargeBinary, nullable=False, unique=True),
)

# --- the service itself ------------------------------------------------------------------------------

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
