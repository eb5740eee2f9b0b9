"""Limits that a person approves, and recipes that shots are compared with."""

from __future__ import annotations

import json
from datetime import timedelta

import pytest
import sqlalchemy as sa

from collector.actions.limits import approve_from_run
from collector.actions.recipes import qualify
from collector.clock import ServiceClock
from collector.contract.policy import Policy as Intake
from collector.errors import NotAllowed
from collector.pipeline import Pipeline
from collector.sources.incoming import Incoming
from collector.store import database, journal
from collector.store.tables import alarms, chart_restarts, limits, signals
from collector.verdict import Policy
from tests.collector.shots_in import START, cushions, message

POLICY = Policy(vital=frozenset({"cushion"}))
NOW = START + timedelta(days=1)
CLOCK = ServiceClock(wall_anchor=NOW, service_anchor=NOW, wall=lambda: NOW)


def pipeline(engine: sa.Engine) -> Pipeline:
    return Pipeline(engine, policy=POLICY, intake=Intake(), clock=CLOCK, wall=lambda: NOW)


def run_message(run: str, minute: int) -> Incoming:
    body = {
        "press": "P1", "action": "open", "at": (START + timedelta(minutes=minute)).isoformat(), "run": run,
        "mold": "Larch 5", "blend": "A", "recipe": "Larch 5 A", "recipe_version": 1,
    }
    return Incoming("evenrun/1/lowland/P1/run", json.dumps(body).encode(), "mqtt", f"test:{run}")


def test_approved_limits_hold_from_the_next_shot_and_in_the_next_run(engine: sa.Engine) -> None:
    values = cushions(520)
    batch = [message(n, {"cushion": x}) for n, x in enumerate(values)]
    taker = pipeline(engine)
    taker.take([run_message("R-1", 0), *batch[:400]])
    approve_from_run(engine, 1, policy=POLICY, who="technician 1", why="qualification", clock=CLOCK)
    taker.take(batch[400:450])
    taker.take([run_message("R-2", 450), *batch[450:]])

    c = limits.c
    with database.read(engine) as conn:
        found = conn.execute(sa.select(c.standing, c.approved_by, c.from_shot_id).order_by(c.id)).all()
        asked = conn.execute(sa.select(chart_restarts.c.applied_at)).scalars().all()
        broken = journal.verify(conn)
    assert [row.standing for row in found] == ["provisional", "firm"]
    assert (found[1].approved_by, found[1].from_shot_id) == ("technician 1", 401)
    assert asked == [NOW]
    assert broken == []


def test_a_newer_approval_retires_the_one_before(engine: sa.Engine) -> None:
    batch = [message(n, {"cushion": x}) for n, x in enumerate(cushions(200))]
    pipeline(engine).take([run_message("R-1", 0), *batch])
    for why, left_out in (("first", {}), ("second", {"cushion": (100,)})):
        approve_from_run(
            engine, 1, policy=POLICY, who="technician 1", why=why, clock=CLOCK, left_out=left_out
        )

    c = limits.c
    query = sa.select(c.version, c.retired_at).where(c.approved_by.is_not(None)).order_by(c.version)
    with database.read(engine) as conn:
        assert [tuple(row) for row in conn.execute(query)] == [(1, NOW), (2, None)]


def test_a_run_that_is_too_short_cannot_be_approved(engine: sa.Engine) -> None:
    pipeline(engine).take([message(n, {"cushion": 6.0 + 0.01 * n}) for n in range(20)])

    with pytest.raises(NotAllowed, match="fewer than 25 steady shots"):
        approve_from_run(engine, 1, policy=POLICY, who="technician 1", why="too early", clock=CLOCK)


def test_a_setpoint_off_the_recipe_opens_an_alarm_of_its_own(engine: sa.Engine) -> None:
    allowed = {"cooling_time": {"setpoint": 38.0, "allowed": 1.0}}
    qualify(
        engine, "Larch 5 A", 1, mold="Larch 5", blend="A", setpoints=allowed, who="technician 1",
        why="first run approved", clock=CLOCK,
    )
    batch = [
        message(n, {"cushion": x}, setpoints={"cooling_time": 38.0 if n < 30 else 33.0})
        for n, x in enumerate(cushions(40))
    ]

    pipeline(engine).take([run_message("R-1", 0), *batch])

    with database.read(engine) as conn:
        kinds = conn.execute(sa.select(signals.c.kind, signals.c.rule).distinct()).all()
        opened = conn.execute(sa.select(alarms.c.kind, alarms.c.headline)).all()
    assert [tuple(row) for row in kinds] == [("setting", "setpoint_deviation")]
    assert [row.kind for row in opened] == ["recipe"]
    assert "33.00 s" in opened[0].headline


def test_a_recipe_version_is_qualified_once(engine: sa.Engine) -> None:
    def once() -> int:
        return qualify(
            engine, "Larch 5 A", 1, mold="Larch 5", blend="A",
            setpoints={"cooling_time": {"setpoint": 38.0, "allowed": 1.0}}, who="technician 1",
            why="first run approved", clock=CLOCK,
        )

    once()
    with pytest.raises(NotAllowed, match="give a new version"):
        once()
