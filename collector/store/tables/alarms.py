"""Alarms, their steps, what keeps them quiet, and holds."""

from __future__ import annotations

from sqlalchemy import Column, ForeignKey, Index, Integer, String, Table, Text

from collector.store.tables.base import metadata, row_id
from collector.store.types import Json, UtcTime

alarms = Table(
    "alarms", metadata, row_id(),
    Column("press_id", ForeignKey("presses.id")),  # null: an alarm of the service itself
    Column("run_id", ForeignKey("runs.id")),
    Column("kind", String, nullable=False),       # process | recipe | data | gauging | silence
    # of IEC 62682, see collector.contract.outgoing.AlarmState
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
    Column("beneath", String),                    # state it would be in, while something keeps it quiet
    Column("subject", String),                    # what is silent: press | broker | gateway:NAME | ...
    Column("site", String),                       # of an alarm of the service itself
)
Index("ix_alarms_open", alarms.c.press_id, alarms.c.closed_at)
Index("ix_alarms_closed_at", alarms.c.closed_at)  # what is open anywhere is asked for every few seconds

alarm_steps = Table(
    "alarm_steps", metadata, row_id(),
    Column("alarm_id", ForeignKey("alarms.id"), nullable=False, index=True),
    Column("at", UtcTime, nullable=False),
    Column("event", String, nullable=False),      # of alarms.lifecycle; grow | rise | restart beside
    Column("before", String),
    Column("after", String, nullable=False),
    Column("who", String, nullable=False),        # a person, or "service"
    Column("note", Text),
)

set_asides = Table(
    "set_asides", metadata, row_id(),
    Column("kind", String, nullable=False),       # shelved | out_of_service
    Column("press_id", ForeignKey("presses.id")),
    Column("alarm_id", ForeignKey("alarms.id")),  # what is shelved; null: out of service
    Column("key", String),                        # out of service: one characteristic; null: the whole press
    Column("at", UtcTime, nullable=False),
    Column("until", UtcTime),                     # end of a shelf
    Column("who", String, nullable=False),
    Column("reason", Text, nullable=False),
    Column("ended_at", UtcTime),                  # null while it lasts
    Column("ended_by", String),                   # a person, or "service"
    Column("end_reason", Text),
)
Index("ix_set_asides_press", set_asides.c.press_id, set_asides.c.ended_at)
Index("ix_set_asides_alarm", set_asides.c.alarm_id)

holds = Table(
    "holds", metadata, row_id(),
    Column("press_id", ForeignKey("presses.id"), nullable=False),
    Column("run_id", ForeignKey("runs.id")),
    Column("alarm_id", ForeignKey("alarms.id")),
    Column("from_shot_id", ForeignKey("shots.id"), nullable=False),
    Column("to_shot_id", ForeignKey("shots.id")),  # null: still growing
    Column("state", String, nullable=False),      # open | released | sorted | scrapped
    Column("reason", Text, nullable=False),
    Column("opened_by", String, nullable=False),
    Column("opened_at", UtcTime, nullable=False),
    Column("closed_by", String),
    Column("closed_at", UtcTime),
    Column("note", Text),
    Column("good_discs", Integer),                # counted when it was decided
    Column("bad_discs", Integer),
)
Index("ix_holds_alarm", holds.c.alarm_id, holds.c.state)
Index("ix_holds_press", holds.c.press_id, holds.c.state)  # what the floor screen asks every second

hold_steps = Table(
    "hold_steps", metadata, row_id(),
    Column("hold_id", ForeignKey("holds.id"), nullable=False, index=True),
    Column("at", UtcTime, nullable=False),
    Column("event", String, nullable=False),      # open | released | sorted | scrapped | reopened
    Column("who", String, nullable=False),        # a person, or "service"
    Column("reason", Text, nullable=False),
    Column("good_discs", Integer),
    Column("bad_discs", Integer),
)
