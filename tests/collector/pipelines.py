"""Pipelines for tests, the messages they take, and what the store says afterwards."""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import timedelta

import sqlalchemy as sa

from collector.clock import ServiceClock
from collector.contract.policy import Policy as Intake
from collector.pipeline import Pipeline
from collector.sources.incoming import Incoming
from collector.store import database
from collector.store.tables import shots, signals
from collector.verdict import Policy
from tests.collector.shots_in import START, message

POLICY = Policy(vital=frozenset({"cushion"}))
NOW = START + timedelta(days=1)


def pipeline(engine: sa.Engine) -> Pipeline:
    clock = ServiceClock(wall_anchor=NOW, service_anchor=NOW, wall=lambda: NOW)
    return Pipeline(engine, policy=POLICY, intake=Intake(), clock=clock, wall=lambda: NOW)


def messages(values: Sequence[float]) -> list[Incoming]:
    return [message(number, {"cushion": value}) for number, value in enumerate(values)]


def topic_message(kind: str, **body: object) -> Incoming:
    payload = json.dumps({"press": "P1", **body}).encode()
    return Incoming(f"evenrun/1/lowland/P1/{kind}", payload, "mqtt", f"test:{kind}")


def rows(engine: sa.Engine, *columns: sa.Column[object]) -> list[tuple[object, ...]]:
    query = sa.select(*columns).order_by(columns[0].table.c.id)
    with database.read(engine) as conn:
        return [tuple(row) for row in conn.execute(query)]


def told(engine: sa.Engine) -> list[tuple[object, ...]]:
    """What the charts said, by counter instead of by row id, so that two stores can be compared."""
    c = signals.c
    query = (
        sa.select(shots.c.counter, c.key, c.chart, c.rule, c.direction)
        .join(shots, shots.c.id == c.shot_id)
        .where(c.withdrawn.is_(False))
        .order_by(shots.c.counter, c.key, c.chart, c.rule)
    )
    with database.read(engine) as conn:
        return [tuple(row) for row in conn.execute(query)]


def told_in_one_batch(values: Sequence[float]) -> list[tuple[object, ...]]:
    """What a store of its own says after these shots in order."""
    return told_of(messages(values))


def told_of(batch: Sequence[Incoming]) -> list[tuple[object, ...]]:
    """What a store of its own says after this batch."""
    other = sa.create_engine("sqlite://", poolclass=sa.StaticPool, json_serializer=database.to_json)
    database.upgrade(other)
    pipeline(other).take(batch)
    return told(other)
