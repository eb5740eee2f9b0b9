"""First-shot approval: asked for by a setting, given once, journaled (common practice, no source)."""

from __future__ import annotations

import json
from datetime import timedelta

import pytest
import sqlalchemy as sa

from collector.actions.first_shot import approve_first_shot, is_approved
from collector.clock import ServiceClock
from collector.contract.policy import Policy as Intake
from collector.errors import NotAllowed
from collector.pipeline import Pipeline
from collector.sources.incoming import Incoming
from collector.store import database, journal
from collector.store.tables import events
from collector.verdict import Policy
from dashboard.blocks.lane_words import act_words
from dashboard.queries.floor import read_floor
from dashboard.queries.floor_facts import Lane
from tests.collector.shots_in import START, cushions, message

NOW = START + timedelta(minutes=50)
CLOCK = ServiceClock(wall_anchor=NOW, service_anchor=NOW, wall=lambda: NOW)


def run(name: str, minute: int, shots: int) -> list[Incoming]:
    body = {
        "press": "P1",
        "action": "open",
        "at": (START + timedelta(minutes=minute)).isoformat(),
        "run": name,
    }
    first = Incoming("evenrun/1/lowland/P1/run", json.dumps(body).encode(), "mqtt", f"test:{name}")
    return [first, *(message(minute + n, {"cushion": x}) for n, x in enumerate(cushions(shots)))]


@pytest.fixture
def begun(engine: sa.Engine) -> sa.Engine:
    taker = Pipeline(
        engine, policy=Policy(vital=frozenset({"cushion"})), intake=Intake(), clock=CLOCK, wall=lambda: NOW
    )
    taker.take(run("R-1", 0, 3))
    return engine


def lane(engine: sa.Engine, *, asked: bool = True) -> Lane:
    with database.read(engine) as conn:
        return read_floor(conn, site="lowland", now=NOW, wall=NOW, first_shot_approval=asked).lanes[0]


def test_the_floor_asks_until_a_person_has_looked(begun: sa.Engine) -> None:
    assert act_words(lane(begun)) == "Look at the first discs"
    assert act_words(lane(begun, asked=False)) == ""

    approve_first_shot(begun, 1, who="quality 1", clock=CLOCK, note="no flash, dome 16 mm warm")

    assert act_words(lane(begun)) == ""
    with database.read(begun) as conn:
        assert is_approved(conn, 1)
        assert journal.verify(conn) == []
        kind, note = conn.execute(
            sa.select(events.c.kind, events.c.note).order_by(events.c.id.desc())
        ).first()
    assert (kind, note) == ("first_shot", "no flash, dome 16 mm warm")


def test_it_is_given_once_and_by_somebody(begun: sa.Engine) -> None:
    with pytest.raises(NotAllowed, match="needs a name"):
        approve_first_shot(begun, 1, who=" ", clock=CLOCK)
    approve_first_shot(begun, 1, who="quality 1", clock=CLOCK)
    with pytest.raises(NotAllowed, match="R-1 is approved already"):
        approve_first_shot(begun, 1, who="quality 1", clock=CLOCK)


def test_the_next_run_is_asked_for_anew(begun: sa.Engine) -> None:
    approve_first_shot(begun, 1, who="quality 1", clock=CLOCK)
    taker = Pipeline(
        begun, policy=Policy(vital=frozenset({"cushion"})), intake=Intake(), clock=CLOCK, wall=lambda: NOW
    )
    taker.take(run("R-2", 20, 2))

    assert act_words(lane(begun)) == "Look at the first discs"
    with database.read(begun) as conn:
        assert (is_approved(conn, 1), is_approved(conn, 2)) == (True, False)
