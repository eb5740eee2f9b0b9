"""Values in doubt on their way through the engine: told as data, charted as nothing. Invented numbers."""

from __future__ import annotations

import json
from itertools import pairwise

import numpy as np
import pytest
import sqlalchemy as sa

from collector.contract.shot import Shot
from collector.engine import run, step
from collector.identity import Identity, Kind
from collector.press_state import PressState, dump, load
from collector.store import database
from collector.store.tables import signals
from collector.verdict import Policy, Signal, Verdict
from tests.collector.pipelines import pipeline
from tests.collector.shots_in import message, shot

POLICY = Policy(
    vital=frozenset({"cushion", "cycle_time", "peak_melt_pressure", "mold_core_temperature"}),
    false_alarms_per_day=0.02,  # so that chance signals nothing here
)
NEXT = Identity(Kind.NEW, epoch=0)
COUNT = 420
BAR, FLAT, DRY, MS = range(150, 170), range(200, 240), range(260, 263), range(300, 320)


def made() -> list[Shot]:
    """A steady run in which a gateway changes a unit, a reading stands still, another one is cut off."""
    rng = np.random.default_rng(11)
    shots = []
    for number in range(COUNT):
        values = {
            "peak_melt_pressure": round(float(rng.normal(74.0, 0.4)), 2),
            "mold_core_temperature": round(float(rng.normal(31.0, 0.15)), 2),
            "cushion": round(float(rng.normal(6.0, 0.1)), 3),
            "cycle_time": round(float(rng.normal(60.0, 0.4)), 2),
            "coolant_flow": round(float(rng.normal(8.0, 0.1)), 2),
        }
        if number in BAR:
            values["peak_melt_pressure"] = round(values["peak_melt_pressure"] * 10, 1)
        if number in FLAT:
            values["mold_core_temperature"] = 31.17
        if number in DRY:
            values["coolant_flow"] = 0.0
        if number in MS:
            values["cycle_time"] *= 1000
        shots.append(shot(number, values=values, setpoints={"cooling_time": 38.0}))
    return shots


def one_by_one(shots: list[Shot], state: PressState) -> tuple[PressState, list[Verdict]]:
    verdicts = []
    for each in shots:
        state, verdict = step(state, each, NEXT, POLICY)
        verdicts.append(verdict)
    return state, verdicts


def data_signals(verdicts: list[Verdict]) -> dict[int, tuple[Signal, ...]]:
    found = {n: tuple(s for s in each.signals if s.kind == "data") for n, each in enumerate(verdicts)}
    return {number: signals for number, signals in found.items() if signals}


def test_what_is_in_doubt_signals_as_data_and_as_nothing_else() -> None:
    state, verdicts = one_by_one(made(), PressState())

    assert not [s for each in verdicts for s in each.signals if s.kind != "data"]
    found = data_signals(verdicts)
    flat = [number for number in found if number in FLAT]
    assert set(found) == {*BAR, *flat, *DRY, *MS}
    assert flat == list(range(flat[0], FLAT.stop))
    assert found[flat[0]][0].points == flat[0] - FLAT.start + 1  # back to the first reading that stood still
    assert flat[0] - FLAT.start <= 15
    assert {(s.key, s.rule) for signals in found.values() for s in signals} == {
        ("peak_melt_pressure", "unit_jump"), ("mold_core_temperature", "stuck"), ("coolant_flow", "zero"),
        ("cycle_time", "unit_jump"),
    }  # fmt: skip
    assert state.usual_cycle_s() == pytest.approx(60.0, abs=1.0)


@pytest.mark.parametrize("size", [1, 7, 40, 400])
def test_batches_doubt_what_shots_one_by_one_doubt(size: int) -> None:
    shots = made()
    expected_state, expected = one_by_one(shots, PressState())
    state, verdicts = PressState(), list[Verdict]()
    for start, stop in pairwise([*range(0, COUNT, size), COUNT]):
        state, judged = run(state, shots[start:stop], [NEXT] * (stop - start), POLICY)
        verdicts += judged

    assert [each.signals for each in verdicts] == [each.signals for each in expected]
    assert state.data == expected_state.data
    assert state.cycles_s == expected_state.cycles_s


def test_a_cushion_of_zero_is_of_the_sensor_where_the_disc_is_as_heavy_as_ever() -> None:
    """Trade tables: a used-up cushion costs hold pressure and weight (common practice, no source)."""
    rng = np.random.default_rng(4)
    usual = {"cushion": (6.0, 0.1), "part_weight": (175.0, 0.2)}
    told = [{key: round(float(rng.normal(*each)), 2) for key, each in usual.items()} for _ in range(80)]
    told[50]["cushion"] = told[60]["cushion"] = told[61]["cushion"] = 0.0
    told[50]["part_weight"] = 168.0
    shots = [shot(number, values=values) for number, values in enumerate(told)]
    state, expected = one_by_one(shots, PressState())

    assert {number: signals[0].key for number, signals in data_signals(expected).items()} == {
        60: "cushion", 61: "cushion"
    }
    assert any(signal.key == "cushion" for signal in expected[50].signals)
    batches, verdicts = run(PressState(), shots, [NEXT] * len(shots), POLICY)
    assert [each.signals for each in verdicts] == [each.signals for each in expected]
    assert batches.data == state.data


def test_what_is_known_of_the_values_survives_a_trip_through_json_in_mid_doubt() -> None:
    state, _ = one_by_one(made()[: BAR.start + 3], PressState())
    limits = {}
    for number, each in enumerate(state.keys.values(), 1):
        if each.limits is not None:
            each.limits.id = number
            limits[number] = each.limits

    again = load(json.loads(json.dumps(dump(state))), limits.__getitem__)

    assert again.data == state.data
    assert again.data["peak_melt_pressure"].jump == "bar instead of MPa"


def test_who_restarts_one_chart_says_that_its_values_are_usual_from_now_on() -> None:
    state, _ = one_by_one(made()[: BAR.start + 3], PressState())
    _, verdict = step(state.restarted("peak_melt_pressure"), made()[BAR.start + 3], NEXT, POLICY)
    rules = {signal.rule for signal in verdict.signals if signal.kind == "data"}

    assert rules == {"implausible"}  # the table says what a pressure can be, whoever restarts a chart
    assert "peak_melt_pressure" in state.restarted().data


def test_a_straggler_with_a_value_in_another_unit_is_not_charted_either(engine: sa.Engine) -> None:
    rng, taker = np.random.default_rng(5), pipeline(engine)
    values = [{"peak_melt_pressure": round(float(rng.normal(74.0, 0.4)), 2)} for _ in range(90)]
    told = [message(number, each, run="R-1") for number, each in enumerate(values)]
    taker.take([*told[:70], *told[71:]])
    taker.take([message(70, {"peak_melt_pressure": 741.3}, run="R-1")])

    with database.read(engine) as conn:
        found = conn.execute(sa.select(signals.c.kind, signals.c.rule)).all()
    assert [tuple(row) for row in found] == [("data", "unit_jump")]
