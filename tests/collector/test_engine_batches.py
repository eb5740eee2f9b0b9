"""Batches of shots against the same shots one by one: same verdicts, same states, however they are cut."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import timedelta
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from collector.contract.shot import Shot
from collector.engine import run, step
from collector.identity import Identity, Kind, Last
from collector.plan import KeyLimits, watch_timer
from collector.press_state import PressState, under
from collector.verdict import Policy, Verdict
from rules.charts import make
from rules.limits import Baseline
from rules.run_rules import RULES
from tests.collector.shots_in import START, cushions, shot

POLICY = Policy(
    vital=frozenset({"cushion", "cycle_time", "part_weight", "injection_time"}),
    startup_shots=3, provisional_shots=4, setpoint_tolerance={"hold_pressure": 0.5},
)
LEVELS = {"cushion": (6.0, 0.1), "cycle_time": (60.0, 1.0), "part_weight": (175.0, 0.5)}
CHARTS: tuple[tuple[str, dict[str, Any]], ...] = (
    ("individuals", {"width": 3.0}),
    ("individuals", {"rules": [rule.name for rule in RULES]}),
    ("cusum", {"k": 0.5, "h": 3.0}),
    ("ewma", {}),
    ("residual", {"phi": 0.5, "chart_parameters": {"h": 3.0}}),
)


@dataclass
class Line:
    """A press that shots come from, one after another."""

    counter: int = 1000
    epoch: int = 0
    ended_at: Any = START
    shots: list[Shot] = field(default_factory=list)
    identities: list[Identity] = field(default_factory=list)

    def add(self, values: dict[str, float], *, pause_s: float = 60.0, missing: int = 0, **more: Any) -> None:
        self.counter += 1 + missing
        self.ended_at += timedelta(seconds=pause_s)
        kind = Kind.NEW_EPOCH if more.pop("new_epoch", False) else Kind.NEW
        self.epoch += kind is Kind.NEW_EPOCH
        self.shots.append(shot(0, counter=self.counter, ended_at=self.ended_at, values=values, **more))
        self.identities.append(Identity(kind, epoch=self.epoch, missing=missing))


def limits(key: str, charts: Sequence[tuple[str, dict[str, Any]]]) -> KeyLimits:
    center, sigma = LEVELS[key]
    made = tuple(make(name, {"center": center, "sigma": sigma, **more}) for name, more in charts)
    return KeyLimits(
        key=key, version=1, standing="firm", baseline=Baseline(center=center, sigma=sigma, n=500), charts=made
    )


def steady_press(charts: dict[str, Sequence[tuple[str, dict[str, Any]]]]) -> PressState:
    """A press that is being charted, in the middle of a run."""
    keys = {key: under(limits(key, each)) for key, each in charts.items()}
    keys["cooling_time"] = under(watch_timer("cooling_time", 38.0, version=1))
    return PressState(
        last=Last(0, 1000, START), charting=True, keys=keys, cycles_s=(60.0, 61.0, 59.0), tray="41",
        tray_next=3, setpoints={"hold_pressure": 40.0},
        recipe={"hold_pressure": {"setpoint": 40.0, "allowed": 1.0}},
    )


VALUE_Z = st.one_of(st.floats(-1.5, 1.5), st.sampled_from([0.0, 3.0, -4.0, 8.0, math.nan]))
ODDITY: st.SearchStrategy[dict[str, Any]] = st.sampled_from([
    {"pause_s": 3600.0}, {"pause_s": -30.0}, {"pause_s": 250.0},
    {"pause_s": 3600.0, "time_reconstructed": True},
    {"missing": 2}, {"new_epoch": True}, {"tray": "42", "tray_position": 1}, {"reversed": True},
    {"setpoints": {"hold_pressure": 40.3}}, {"setpoints": {"hold_pressure": 42.0}},
    {"setpoints": {"hold_pressure": 40.0, "cooling_time": 38.0}}, {"without": "cushion"},
    {"without": "cycle_time"}, {"with": {"hold_time": 4.0}}, {"with": {"injection_time": 2.5}},
    {"with": {"cooling_time": 37.0}}, {"with": {"coolant_flow": 8.0}},
    {"with": {"gate_torque": 3.0}, "units": {"gate_torque": "N*m"}}, {"with": {"gate_torque": 3.0}},
    {"with": {"cushion": 0.2}}, {"setpoints": {"hold_pressure": 50.0, "screw_speed": 60.0}},
])  # fmt: skip


@st.composite
def lines(draw: st.DrawFn) -> tuple[PressState, Line, list[int]]:
    """A press in some state, its next shots with some oddities among them, and where they are cut."""
    chosen = st.lists(st.sampled_from(CHARTS), min_size=1, max_size=2)
    state = steady_press({key: draw(chosen) for key in LEVELS})
    if draw(st.booleans()):
        state = replace(state.starting(), tray=None, tray_next=None)
    told_cycle_s = draw(st.sampled_from([60.0, 10.0, None]))
    count = draw(st.integers(1, 40))
    odd = draw(st.dictionaries(st.integers(0, count - 1), ODDITY, max_size=8))
    line = Line()
    for number in range(count):
        values = {key: center + sigma * draw(VALUE_Z) for key, (center, sigma) in LEVELS.items()}
        values |= {"cooling_time": 38.0, "hold_melt_pressure": 40.0 + draw(st.sampled_from([0.0, 0.1, 6.0]))}
        if told_cycle_s is None:
            del values["cycle_time"]
        elif told_cycle_s != LEVELS["cycle_time"][0]:
            values["cycle_time"] = told_cycle_s  # far from what the times of the shots say
        more = dict(odd.get(number, {}))
        values |= more.pop("with", {})
        values.pop(more.pop("without", ""), None)
        if more.pop("reversed", False):
            values = dict(reversed(values.items()))
        line.add(values, **more)
    cuts = draw(st.sets(st.integers(1, count), max_size=4))
    return state, line, sorted({0, *cuts, count})


def folded(state: PressState, line: Line, policy: Policy = POLICY) -> tuple[PressState, list[Verdict]]:
    verdicts = []
    for each, identity in zip(line.shots, line.identities, strict=True):
        state, verdict = step(state, each, identity, policy)
        verdicts.append(verdict)
    return state, verdicts


def in_batches(
    state: PressState, line: Line, cuts: Sequence[int], policy: Policy = POLICY
) -> tuple[PressState, list[Verdict]]:
    verdicts = []
    for start, stop in pairwise(cuts):
        state, judged = run(state, line.shots[start:stop], line.identities[start:stop], policy)
        verdicts += judged
    return state, verdicts


@settings(max_examples=400, deadline=None)
@given(lines())
def test_batches_say_what_shots_one_by_one_say(drawn: tuple[PressState, Line, list[int]]) -> None:
    state, line, cuts = drawn
    expected_state, expected = folded(state, line)

    after, verdicts = in_batches(state, line, cuts)

    assert_alike(verdicts, expected)
    assert_alike(after, expected_state)


def assert_alike(one: Any, other: Any) -> None:
    """The same things; numbers equal to 1e-9, missing ones alike."""
    if isinstance(one, float) and isinstance(other, float):
        assert math.isnan(one) == math.isnan(other)
        assert math.isnan(one) or math.isclose(one, other, rel_tol=1e-9, abs_tol=1e-9)
    elif isinstance(one, list | tuple):
        assert (type(one), len(one)) == (type(other), len(other))
        for each, its in zip(one, other, strict=True):
            assert_alike(each, its)
    elif isinstance(one, dict):
        assert list(one) == list(other)
        assert_alike(list(one.values()), list(other.values()))
    elif hasattr(one, "__dataclass_fields__"):
        assert type(one) is type(other)
        for name in one.__dataclass_fields__:
            assert_alike(getattr(one, name), getattr(other, name))
    else:
        assert one == other


@pytest.mark.parametrize("size", [1, 7, 40, 400])
def test_a_whole_run_is_judged_alike_from_startup_over_baseline_to_a_shift_and_a_setpoint(size: int) -> None:
    policy = Policy(vital=frozenset({"cushion", "cycle_time"}))
    rng, line = np.random.default_rng(41), Line()
    for number, cushion in enumerate(cushions(400, shift=3.0, shift_from=250)):
        values = {"cushion": cushion, "cycle_time": round(float(rng.normal(60.0, 0.5)), 2)}
        if number >= 60:
            values["hold_time"] = 4.0
        if number == 330:
            del values["cushion"]
        line.add(
            values, pause_s=3600.0 if number == 120 else 60.0, missing=int(number == 200),
            setpoints={"hold_pressure": 40.0 if number < 320 else 45.0},
        )
    expected_state, expected = folded(PressState(), line, policy)

    after, verdicts = in_batches(PressState(), line, [*range(0, 400, size), 400], policy)

    assert_alike(verdicts, expected)
    assert_alike(after, expected_state)
    # What the comparison covers: every phase, limits that come in mid-batch, each kind of event, signals.
    assert {verdict.phase for verdict in expected} == {"startup", "baseline", "charted"}
    assert sum(len(verdict.new_limits) for verdict in expected) == 3
    kinds = {event.kind for verdict in expected for event in verdict.events}
    assert kinds == {"stop", "gap", "setpoint", "chart_restart"}
    assert any(verdict.signals for verdict in expected[250:320])


def test_a_setpoint_off_its_recipe_signals_at_every_shot_of_a_batch() -> None:
    state = replace(steady_press({"cushion": CHARTS[:1]}), setpoints={"hold_pressure": 43.0})
    line = Line()
    for cushion in (6.0, 7.0, 6.0):
        line.add({"cushion": cushion})

    _, verdicts = run(state, line.shots, line.identities, POLICY)

    assert [[signal.rule for signal in verdict.signals] for verdict in verdicts] == [
        ["setpoint_deviation"], ["setpoint_deviation", "beyond_limit"], ["setpoint_deviation"],
    ]  # fmt: skip


def test_a_quantity_that_gets_its_unit_in_mid_batch_is_charted_from_then_on() -> None:
    state, line = steady_press({"cushion": CHARTS[:1]}), Line()
    for number in range(8):
        units = {"gate_torque": "N*m"} if number >= 4 else {}
        line.add({"cushion": 6.0, "gate_torque": 3.0}, units=units)

    after, verdicts = run(state, line.shots, line.identities, POLICY)

    assert (after, verdicts) == folded(state, line)
    assert [len(verdict.new_limits) for verdict in verdicts] == [0, 0, 0, 0, 0, 0, 0, 1]


def test_no_shots_change_nothing() -> None:
    state = steady_press({"cushion": CHARTS[:1]})

    assert run(state, [], [], POLICY) == (state, [])
