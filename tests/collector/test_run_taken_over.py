"""A person's run on a press whose gateway names another in every shot. On both databases.

That the shots of a trial are the trial's, whatever the gateway goes on sending, is what the floor asks for;
common practice, no source.
"""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
import sqlalchemy as sa

from collector.actions.runs import Told, close_run, open_run
from collector.clock import ServiceClock
from collector.health import read_health
from collector.press_state import PressState
from collector.run_names import takes_shot_over
from collector.settings import Settings
from collector.sources.incoming import Incoming
from collector.store import database
from collector.store.runs import RunRow
from collector.store.tables import runs, shots
from dashboard.queries.floor import read_floor
from tests.collector.pipelines import NOW, POLICY, pipeline, rows, topic_message
from tests.collector.shots_in import START, cushions, message, shot

AT = START + timedelta(minutes=39, seconds=30)
HOW: dict[str, Any] = {"site": "lowland", "policy": POLICY, "who": "operator 1"}
VALUES = cushions(120)


def clock(at: Any = AT) -> ServiceClock:
    return ServiceClock(wall_anchor=at, service_anchor=at, wall=lambda: at)


def batch(first: int, after: int, run: str | None = "R-0414") -> list[Incoming]:
    named = {} if run is None else {"run": run}
    return [message(n, {"cushion": VALUES[n]}, **named) for n in range(first, after)]


def trial(engine: sa.Engine) -> None:
    open_run(engine, "P1", "T-1", Told(trial=True), clock=clock(), **HOW)


def where(engine: sa.Engine) -> list[str]:
    query = sa.select(runs.c.name).join(shots, shots.c.run_id == runs.c.id).order_by(shots.c.ended_at)
    with database.read(engine) as conn:
        return list(conn.execute(query).scalars())


def is_open(engine: sa.Engine) -> list[str]:
    with database.read(engine) as conn:
        return list(conn.execute(sa.select(runs.c.name).where(runs.c.closed_at.is_(None))).scalars())


def test_a_trial_has_the_shots_from_its_opening_though_the_gateway_names_its_run(engine: sa.Engine) -> None:
    pipeline(engine).take(batch(0, 40))
    trial(engine)
    pipeline(engine).take(batch(40, 60))
    pipeline(engine).take([topic_message("run", action="open", at=AT.isoformat(), run="R-0414", lot="3119")])
    pipeline(engine).take(batch(60, 80))

    assert where(engine) == ["R-0414"] * 40 + ["T-1"] * 40
    assert {row[0] for row in rows(engine, shots.c.phase)[40:]} == {"trial"}
    assert is_open(engine) == ["T-1"]


def test_the_trial_ends_when_the_gateway_names_another_run(engine: sa.Engine) -> None:
    pipeline(engine).take(batch(0, 40))
    trial(engine)
    pipeline(engine).take([*batch(40, 60), *batch(60, 80, "R-0415")])

    assert where(engine)[40:] == ["T-1"] * 20 + ["R-0415"] * 20
    assert is_open(engine) == ["R-0415"]


def test_once_a_person_ends_the_trial_the_run_of_the_gateway_goes_on_and_is_open(engine: sa.Engine) -> None:
    pipeline(engine).take(batch(0, 40))
    trial(engine)
    pipeline(engine).take(batch(40, 60))
    close_run(engine, "P1", clock=clock(AT + timedelta(minutes=20)), **HOW)
    pipeline(engine).take(batch(60, 80))

    assert where(engine)[40:] == ["T-1"] * 20 + ["R-0414"] * 20
    assert is_open(engine) == ["R-0414"]
    for minutes, silent in [(1, False), (44, True)]:
        at = NOW + timedelta(minutes=minutes)
        with database.read(engine) as conn:
            [lane] = read_floor(conn, site="lowland", now=at, wall=at).lanes
            [press] = read_health(conn, Settings(site="lowland"), now=at, wall=at).presses
        assert lane.run is not None
        assert (lane.run.name, lane.run.closed_at) == ("R-0414", None)
        assert lane.activity == ("silent" if silent else "running")
        assert (press.silent, press.idle) == (silent, False)


def test_a_run_that_the_gateway_only_opened_by_message_is_taken_over_too(engine: sa.Engine) -> None:
    opened = topic_message("run", action="open", at=START.isoformat(), run="R-0414")
    pipeline(engine).take([opened, *batch(0, 40, None)])
    trial(engine)
    again = topic_message("run", action="open", at=(AT + timedelta(minutes=5)).isoformat(), run="R-0414")
    pipeline(engine).take([again, *batch(40, 60, None)])

    assert where(engine)[40:] == ["T-1"] * 20


def test_after_the_gateway_ended_its_run_it_can_begin_it_again_over_a_person_s(engine: sa.Engine) -> None:
    pipeline(engine).take(batch(0, 39))
    closed = topic_message("run", action="close", at=(AT - timedelta(minutes=1)).isoformat(), run="R-0414")
    pipeline(engine).take([closed])
    trial(engine)
    pipeline(engine).take(batch(40, 60))

    assert where(engine)[39:] == ["R-0414"] * 20


@pytest.mark.parametrize(("late", "run"), [(50, "T-1"), (20, "R-0414")])
def test_a_late_shot_goes_where_its_neighbors_went(engine: sa.Engine, late: int, run: str) -> None:
    every = batch(0, 80)
    pipeline(engine).take([each for each in every[:40] if each is not every[late]])
    trial(engine)
    pipeline(engine).take([each for each in every[40:] if each is not every[late]])
    pipeline(engine).take([every[late]])

    assert where(engine)[late] == run
    assert len(where(engine)) == 80


def test_the_same_shot_told_twice_is_one(engine: sa.Engine) -> None:
    pipeline(engine).take(batch(0, 40))
    trial(engine)
    pipeline(engine).take(batch(40, 60))
    pipeline(engine).take(batch(30, 60))

    assert where(engine) == ["R-0414"] * 40 + ["T-1"] * 20


def test_rows_of_a_file_made_before_the_trial_are_none_of_it_and_live_ones_on_their_way_are() -> None:
    run = RunRow(
        id=2, name="T-1", mold=None, blend=None, lot=None, color=None, recipe=None, recipe_version=None,
        setpoints={}, opened_by="form", opened_at=AT, closed_at=None, trial=True,
    )  # fmt: skip
    state = PressState(told_run="R-0414")

    assert not takes_shot_over(state, run, shot(39, run="R-0414", source="export.csv"))
    assert takes_shot_over(state, run, shot(40, run="R-0414", source="export.csv"))
    assert takes_shot_over(state, run, shot(39, run="R-0414", source="mqtt"))
    assert not takes_shot_over(state, run, shot(40, run="R-0415", source="mqtt"))
