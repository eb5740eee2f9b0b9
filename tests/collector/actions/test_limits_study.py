"""What a study of a run proposes and a person approves: bands, watches, boundaries, shots left out.

Values are invented; an autoregressive wander and a mean over what is left are computed here by numpy.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import timedelta
from typing import Any

import numpy as np
import pytest
import sqlalchemy as sa

from collector.actions.limits import approve, approve_from_run
from collector.actions.limits_confirmed import Confirmed
from collector.actions.limits_steady import read_steady
from collector.actions.limits_study import propose, propose_key
from collector.actions.recipes import qualify
from collector.clock import ServiceClock
from collector.contract.policy import Policy as Intake
from collector.errors import NotAllowed
from collector.pipeline import Pipeline
from collector.sources.incoming import Incoming
from collector.store import database, journal
from collector.store import limits as limit_rows
from collector.store.tables import journal as journal_table
from collector.store.tables import limits, signals
from collector.verdict import Policy
from tests.collector.shots_in import START, cushions, message

CHARTED = Policy(vital=frozenset({"cushion"}))  # by the engine, before anything is approved
WATER = "coolant_supply_temperature"
STUDIED = Policy(vital=frozenset({"cushion", WATER}))
NOW = START + timedelta(days=2)
CLOCK = ServiceClock(wall_anchor=NOW, service_anchor=NOW, wall=lambda: NOW)
WHO: dict[str, Any] = {"who": "technician 1", "why": "a sound run", "clock": CLOCK}
COUNT = 1200


def wander(count: int = COUNT, *, seed: int = 5) -> list[float]:
    """A temperature around 20 degC that keeps 97 % of a departure from shot to shot."""
    steps = np.random.default_rng(seed).normal(0.0, 0.05, count)
    values = np.empty(count)
    values[0] = steps[0]
    for place in range(1, count):
        values[place] = 0.97 * values[place - 1] + steps[place]
    return [round(float(value), 2) for value in 20.0 + values]


def taker(engine: sa.Engine) -> Pipeline:
    return Pipeline(engine, policy=CHARTED, intake=Intake(), clock=CLOCK, wall=lambda: NOW)


def opened(minute: int = 0, **more: Any) -> Incoming:
    body = {
        "press": "P1", "action": "open", "at": (START + timedelta(minutes=minute)).isoformat(), "run": "R-1",
        "mold": "Larch 5", "blend": "A", "recipe": "Larch 5 A", "recipe_version": 1, **more,
    }  # fmt: skip
    return Incoming("evenrun/1/lowland/P1/run", json.dumps(body).encode(), "mqtt", f"test:run {minute}")


def shots(water: Sequence[float], *, first: int = 0, setpoint: float | None = None) -> list[Incoming]:
    set_to = {} if setpoint is None else {"setpoints": {WATER: setpoint}}
    near = cushions(first + len(water))[first:]
    return [
        message(first + n, {"cushion": x, WATER: t, "cooling_time": 38.0}, **set_to)
        for n, (x, t) in enumerate(zip(near, water, strict=True))
    ]


@pytest.fixture
def wandering(engine: sa.Engine) -> sa.Engine:
    taker(engine).take([opened(), *shots(wander())])
    return engine


def in_force(engine: sa.Engine) -> dict[str, Any]:
    with database.read(engine) as conn:
        context = conn.execute(sa.select(limits.c.context)).scalars().first()
        return limit_rows.approved(conn, 1, context) if context else {}


def journaled(engine: sa.Engine) -> dict[str, Any]:
    query = sa.select(journal_table.c.after).where(journal_table.c.action == "approve limits")
    with database.read(engine) as conn:
        assert journal.verify(conn) == []
        found: dict[str, Any] = conn.execute(query.order_by(journal_table.c.id.desc())).scalars().first()
    return found


def test_a_characteristic_that_wanders_gets_a_band_that_a_person_must_confirm(wandering: sa.Engine) -> None:
    with database.read(wandering) as conn:
        found = {each.key: each for each in propose(conn, 1, STUDIED)}
    water = found[WATER]
    assert water.proposal.kind == "band"
    assert water.to_confirm
    band = water.proposal.band
    assert band is not None
    assert band.lower < min(wander()) < max(wander()) < band.upper

    approve_from_run(wandering, 1, policy=STUDIED, **WHO)
    assert WATER not in in_force(wandering)
    assert {"cushion", "cooling_time"} <= in_force(wandering).keys()


def test_a_band_that_is_accepted_holds_as_suggested(wandering: sa.Engine) -> None:
    approve_from_run(wandering, 1, policy=STUDIED, confirmed={WATER: Confirmed()}, **WHO)

    water = in_force(wandering)[WATER]
    with database.read(wandering) as conn:
        band = propose_key(read_steady(conn, 1, STUDIED), WATER).proposal.band
    assert band is not None
    lines = water.charts[0].limits()
    assert (lines.lower, lines.upper) == (band.lower, band.upper)
    assert water.standing == "usable"
    assert water.approved_by == "technician 1"
    assert journaled(wandering)[WATER]["confirmed"] is True


def test_a_band_that_a_person_enters_takes_the_place_of_the_suggestion(wandering: sa.Engine) -> None:
    entered = {WATER: Confirmed(lower=18.0, upper=22.5)}
    approve_from_run(wandering, 1, policy=STUDIED, confirmed=entered, **WHO)

    water = in_force(wandering)[WATER]
    assert (water.charts[0].name, water.charts[0].limits().lower) == ("engineering_limits", 18.0)
    assert water.charts[0].limits().upper == 22.5
    assert journaled(wandering)[WATER]["confirmed"] == {"lower": 18.0, "upper": 22.5}


@pytest.mark.parametrize(("lower", "upper"), [(22.0, 18.0), (18.0, None), (float("nan"), 22.0)])
def test_a_band_the_wrong_way_round_is_refused(
    wandering: sa.Engine, lower: float, upper: float | None
) -> None:
    entered = {WATER: Confirmed(lower=lower, upper=upper)}
    with pytest.raises(NotAllowed, match="Coolant supply temperature"):
        approve_from_run(wandering, 1, policy=STUDIED, confirmed=entered, **WHO)
    assert in_force(wandering) == {}


def test_the_engine_judges_by_a_band_from_the_next_shot_on_alone_and_in_batches(wandering: sa.Engine) -> None:
    entered = {WATER: Confirmed(lower=18.0, upper=22.5)}
    approve_from_run(wandering, 1, policy=STUDIED, confirmed=entered, **WHO)
    more = shots([20.0, 23.0, 20.0, 22.5, 17.9], first=COUNT)
    pipeline = taker(wandering)
    pipeline.take(more[:2])
    pipeline.take(more[2:])

    query = sa.select(signals.c.value, signals.c.direction).where(
        signals.c.key == WATER, signals.c.chart == "engineering_limits"
    )
    with database.read(wandering) as conn:
        assert [tuple(row) for row in conn.execute(query.order_by(signals.c.id))] == [(23.0, 1), (17.9, -1)]


def test_with_a_setpoint_and_a_recipe_the_allowed_deviation_is_the_band(engine: sa.Engine) -> None:
    allowed = {WATER: {"setpoint": 20.0, "allowed": 1.5}}
    qualify(
        engine, "Larch 5 A", 1, mold="Larch 5", blend="A", setpoints=allowed, who="technician 1",
        why="first run approved", clock=CLOCK,
    )  # fmt: skip
    taker(engine).take([opened(), *shots(wander(), setpoint=20.0)])

    approve_from_run(engine, 1, policy=STUDIED, **WHO)
    lines = in_force(engine)[WATER].charts[0].limits()
    assert (lines.lower, lines.center, lines.upper) == (18.5, 20.0, 21.5)


def test_a_timer_is_watched_for_change_by_the_digits_it_is_written_with(wandering: sa.Engine) -> None:
    approve_from_run(wandering, 1, policy=STUDIED, **WHO)

    (watch,) = in_force(wandering)["cooling_time"].charts
    assert watch.name == "setting"
    assert watch.run([38.0, 38.0, 38.01])[1].signals == ((2, "beyond_limit"),)


def test_shots_left_out_do_not_count_and_are_kept_with_the_limits_and_in_the_journal(
    engine: sa.Engine,
) -> None:
    values = cushions(400)
    values[150] = values[301] = 7.5  # fifteen sigma
    taker(engine).take([opened(), *(message(n, {"cushion": x}) for n, x in enumerate(values))])
    with database.read(engine) as conn:
        (found,) = propose(conn, 1, CHARTED)
    assert found.standing_out == (151, 302)

    out = {"cushion": found.standing_out}
    (made,) = approve_from_run(engine, 1, policy=CHARTED, left_out=out, **WHO)

    with database.read(engine) as conn:
        frame = read_steady(conn, 1, CHARTED).frame
        cost = conn.execute(sa.select(limits.c.cost).where(limits.c.id == made.id)).scalar_one()
    kept = frame.loc[~frame["id"].isin(found.standing_out), "cushion"]
    assert made.baseline.center == pytest.approx(np.mean(kept))
    assert made.baseline.n == len(kept)
    assert cost["study"]["left_out"] == [151, 302]
    assert journaled(engine)["cushion"]["left_out"] == [151, 302]


def test_only_a_shot_of_the_study_can_be_left_out(engine: sa.Engine) -> None:
    taker(engine).take([message(n, {"cushion": x}) for n, x in enumerate(cushions(120))])
    with pytest.raises(NotAllowed, match="shot 999 cannot be left out of Cushion"):
        approve_from_run(engine, 1, policy=CHARTED, left_out={"cushion": [999]}, **WHO)


def test_with_too_few_shots_left_there_are_no_limits_but_a_reason(engine: sa.Engine) -> None:
    taker(engine).take([message(n, {"cushion": x}) for n, x in enumerate(cushions(60))])
    with database.read(engine) as conn:
        steady = read_steady(conn, 1, CHARTED)
    each = propose_key(steady, "cushion", left_out=tuple(steady.frame["id"][5:]))

    assert each.limits is None
    assert each.proposal.why.startswith("No limits: 5 steady values are too few")
    with pytest.raises(NotAllowed, match="nothing here can be approved"):
        approve(engine, steady, [each], **WHO)


def test_a_new_lot_is_a_boundary_of_the_study(engine: sa.Engine) -> None:
    batch = [message(n, {"cushion": x}) for n, x in enumerate(cushions(300))]
    pipeline = taker(engine)
    pipeline.take([opened(lot="7700"), *batch[:200]])
    pipeline.take([opened(200, lot="7701"), *batch[200:]])

    with database.read(engine) as conn:
        steady = read_steady(conn, 1, CHARTED)
    (place,) = steady.boundaries
    assert steady.frame["counter"].iloc[place] == 1200
    study = propose_key(steady, "cushion").study
    assert study is not None
    assert study.standing.contexts == 2
    assert [change.index for change in study.changes] == [place]


def test_what_was_shown_is_approved_although_the_run_went_on(engine: sa.Engine) -> None:
    batch = [message(n, {"cushion": x}) for n, x in enumerate(cushions(400))]
    pipeline = taker(engine)
    pipeline.take(batch[:200])
    with database.read(engine) as conn:
        steady = read_steady(conn, 1, CHARTED)
    shown = propose_key(steady, "cushion")
    pipeline.take(batch[200:])

    (made,) = approve(engine, steady, [shown], **WHO)
    assert shown.limits is not None
    assert made.baseline == shown.limits.baseline
    with database.read(engine) as conn:
        again = read_steady(conn, 1, CHARTED, until_shot_id=steady.last_shot_id)
        assert len(read_steady(conn, 1, CHARTED).frame) > len(steady.frame) == len(again.frame)


def test_the_false_alarms_of_all_charts_keep_to_the_budget_of_the_press(wandering: sa.Engine) -> None:
    made = approve_from_run(wandering, 1, policy=STUDIED, confirmed={WATER: Confirmed()}, **WHO)

    own = [new.cost.get("own_false_alarms_per_shift", 0.0) for new in made]
    assert [new.cost["false_alarms_per_day"] for new in made] == pytest.approx([3.0 * sum(own)] * 3)
    assert 3.0 * sum(own) == pytest.approx(STUDIED.false_alarms_per_day, rel=0.05)


@pytest.mark.parametrize(("who", "why"), [("", "a sound run"), ("technician 1", "  ")])
def test_approving_needs_a_name_and_a_reason(engine: sa.Engine, who: str, why: str) -> None:
    taker(engine).take([message(n, {"cushion": x}) for n, x in enumerate(cushions(120))])
    with pytest.raises(NotAllowed, match="a name and a reason"):
        approve_from_run(engine, 1, policy=CHARTED, who=who, why=why, clock=CLOCK)
