"""Approved limits give way to better ones of the same process, or to those of a process changed on purpose.

What to ask before limits are reckoned anew is common practice, no source.
"""

from __future__ import annotations

import json
from datetime import timedelta
from typing import Any

import pytest
import sqlalchemy as sa

from collector.actions.limits import approve_from_run, retire
from collector.actions.limits_replaced import Change
from collector.actions.limits_study import propose
from collector.clock import ServiceClock
from collector.contract.policy import Policy as Intake
from collector.errors import NotAllowed
from collector.pipeline import Pipeline
from collector.sources.incoming import Incoming
from collector.store import database, journal, tables
from collector.store.tables import chart_restarts, limits
from collector.verdict import Policy
from tests.collector.shots_in import START, cushions, message

POLICY = Policy(vital=frozenset({"cushion"}))
NOW = START + timedelta(days=2)
CLOCK = ServiceClock(wall_anchor=NOW, service_anchor=NOW, wall=lambda: NOW)
WHO: dict[str, Any] = {"policy": POLICY, "who": "technician 1", "clock": CLOCK}
ON_PURPOSE = Change(cause="longer hold after the gate was widened", intended=True, lasting=True)


def run(name: str, minute: int, values: list[float]) -> list[Incoming]:
    opened = {
        "press": "P1", "action": "open", "at": (START + timedelta(minutes=minute)).isoformat(), "run": name,
        "mold": "Larch 5", "blend": "A",
    }  # fmt: skip
    first = Incoming("evenrun/1/lowland/P1/run", json.dumps(opened).encode(), "mqtt", f"test:{name}")
    return [first, *(message(minute + n, {"cushion": x}) for n, x in enumerate(values))]


@pytest.fixture
def approved(engine: sa.Engine) -> sa.Engine:
    """A run of 400 shots whose limits are in force, a later one at another level, and one like the first."""
    near = cushions(1_200)
    taker = Pipeline(engine, policy=POLICY, intake=Intake(), clock=CLOCK, wall=lambda: NOW)
    taker.take(run("R-1", 0, near[:400]))
    approve_from_run(engine, 1, why="qualification", **WHO)
    taker.take(run("R-2", 400, [x + 0.5 for x in near[400:800]]))
    taker.take(run("R-3", 800, near[800:840]))
    return engine


def in_force(engine: sa.Engine) -> list[tuple[int, str]]:
    query = sa.select(limits.c.version, limits.c.reason).where(
        limits.c.retired_at.is_(None), limits.c.approved_by.is_not(None)
    )
    with database.read(engine) as conn:
        return [tuple(row) for row in conn.execute(query)]


def test_the_same_limits_are_not_approved_twice(approved: sa.Engine) -> None:
    with pytest.raises(NotAllowed, match="in force already"):
        approve_from_run(approved, 1, why="again", **WHO)

    assert in_force(approved) == [(1, "qualification")]
    with database.read(approved) as conn:
        # no chart forgets anything for it
        assert len(conn.execute(sa.select(chart_restarts.c.id)).all()) == 1


def test_a_level_that_moved_asks_what_changed(approved: sa.Engine) -> None:
    with pytest.raises(NotAllowed, match=r"Cushion went from .* mm to .* mm .*say what changed"):
        approve_from_run(approved, 2, why="a new level", **WHO)

    assert in_force(approved) == [(1, "qualification")]


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (Change(cause=" ", intended=True, lasting=True), "find it out first"),
        (Change(cause="a worn ring", intended=False, lasting=True), "nobody wanted"),
        (Change(cause="a hot day", intended=True, lasting=False), "will not last"),
    ],
)
def test_a_change_that_is_unknown_unwanted_or_passing_gets_no_limits(
    approved: sa.Engine, change: Change, said: str
) -> None:
    with pytest.raises(NotAllowed, match=said):
        approve_from_run(approved, 2, why="a new level", change=change, **WHO)

    assert in_force(approved) == [(1, "qualification")]


def test_a_change_on_purpose_gets_limits_and_is_journaled(approved: sa.Engine) -> None:
    approve_from_run(approved, 2, why="qualified anew", change=ON_PURPOSE, **WHO)

    assert in_force(approved) == [(2, "qualified anew")]
    with database.read(approved) as conn:
        entry = list(conn.execute(sa.select(tables.journal).order_by(tables.journal.c.id)))[-1]
        assert entry.why == "qualified anew; longer hold after the gate was widened"
        assert list(entry.before) == ["cushion"]
        assert journal.verify(conn) == []


def test_provisional_limits_do_not_take_the_place_of_better_ones(approved: sa.Engine) -> None:
    with pytest.raises(NotAllowed, match="too few shots tell of Cushion"):
        approve_from_run(approved, 3, why="the newest shots", **WHO)


def test_limits_that_are_retired_leave_the_press_without_and_start_its_charts_anew(
    approved: sa.Engine,
) -> None:
    with database.read(approved) as conn:
        limits_id = conn.execute(sa.select(limits.c.id).where(limits.c.approved_by.is_not(None))).scalar_one()

    retire(approved, limits_id, who="quality 1", why="the mold was repaired", clock=CLOCK)

    assert in_force(approved) == []
    with database.read(approved) as conn:
        assert list(conn.execute(sa.select(chart_restarts.c.why)).scalars())[-1].startswith("limits retired")
    with pytest.raises(NotAllowed, match="not in force any more"):
        retire(approved, limits_id, who="quality 1", why="the mold was repaired", clock=CLOCK)


def test_a_timer_that_was_set_otherwise_must_be_confirmed(engine: sa.Engine) -> None:
    taker = Pipeline(engine, policy=POLICY, intake=Intake(), clock=CLOCK, wall=lambda: NOW)
    near = cushions(300)
    taker.take(
        [message(n, {"cushion": x, "cooling_time": 36.0 if n < 200 else 33.0}) for n, x in enumerate(near)]
    )

    with database.read(engine) as conn:
        timer = {each.key: each for each in propose(conn, 1, POLICY)}["cooling_time"]

    assert timer.to_confirm
    assert timer.proposal.confirm.endswith(
        "and is 33.00 s now, so every shot would signal. Is 36.00 s what is qualified?"
    )
