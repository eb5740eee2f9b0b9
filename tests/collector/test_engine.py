"""One shot after another: phases, limits, signals, events."""

from __future__ import annotations

import json
import math

import pytest

from collector.contract.shot import Shot
from collector.engine import step
from collector.errors import StoreError
from collector.identity import Identity, Kind
from collector.press_state import PressState, dump, load
from collector.verdict import Policy, Verdict
from tests.collector.shots_in import cushions, shot

NEXT = Identity(Kind.NEW, epoch=0)
POLICY = Policy(vital=frozenset({"cushion", "cycle_time"}), startup_shots=10, provisional_shots=25)


def run(shots: list[Shot], policy: Policy = POLICY, state: PressState | None = None) -> list[Verdict]:
    state = state or PressState()
    verdicts = []
    for each in shots:
        state, verdict = step(state, each, NEXT, policy)
        verdicts.append(verdict)
    return verdicts


def steady(count: int, **more: float) -> list[Shot]:
    return [shot(n, values={"cushion": x}) for n, x in enumerate(cushions(count, **more))]


def test_startup_then_baseline_then_charts() -> None:
    phases = [verdict.phase for verdict in run(steady(60))]

    assert phases[:10] == ["startup"] * 10
    assert phases[10:34] == ["baseline"] * 24
    assert set(phases[34:]) == {"charted"}


def test_provisional_limits_come_with_the_twenty_fifth_steady_shot() -> None:
    made = [index for index, verdict in enumerate(run(steady(60))) if verdict.new_limits]

    assert made == [34]


def test_a_lasting_shift_signals_and_a_steady_press_does_not() -> None:
    quiet = run(steady(200))
    shifted = run(steady(200, shift=3.0, shift_from=100))

    assert not any(verdict.signals for verdict in quiet)
    first = next(index for index, verdict in enumerate(shifted) if verdict.signals)
    assert 100 <= first <= 115
    assert shifted[first].signals[0].direction == 1


def test_a_creeping_sum_climbs_before_it_signals() -> None:
    verdicts = run(steady(160, shift=1.5, shift_from=100))
    first = next(index for index, verdict in enumerate(verdicts) if verdict.signals)
    shares = [verdict.share for verdict in verdicts[first - 3 : first]]

    assert all(share is not None and 0.2 < share <= 1.0 for share in shares)


def test_a_setpoint_that_moves_is_an_event_and_charts_start_anew() -> None:
    shots = [
        shot(n, values={"cushion": x}, setpoints={"cooling_time": 38.0 if n < 80 else 35.0})
        for n, x in enumerate(cushions(90))
    ]
    verdicts = run(shots)

    kinds = [event.kind for event in verdicts[80].events]
    assert kinds == ["setpoint", "chart_restart"]
    assert not verdicts[81].events


def test_a_recorded_setpoint_that_wobbles_within_its_tolerance_is_no_event() -> None:
    policy = Policy(vital=POLICY.vital, setpoint_tolerance={"switchover_volume": 0.02})
    shots = [
        shot(n, values={"cushion": x}, setpoints={"switchover_volume": 13.5 + 0.015 * (n % 2)})
        for n, x in enumerate(cushions(60))
    ]

    assert not any(event.kind == "setpoint" for verdict in run(shots, policy) for event in verdict.events)


def test_a_creeping_setpoint_is_compared_with_the_value_in_force_not_with_its_neighbor() -> None:
    policy = Policy(vital=POLICY.vital, setpoint_tolerance={"hold_pressure": 0.5})
    shots = [
        shot(n, values={"cushion": x}, setpoints={"hold_pressure": 40.0 + 0.1 * n})
        for n, x in enumerate(cushions(30))
    ]
    changes = [e for verdict in run(shots, policy) for e in verdict.events if e.kind == "setpoint"]

    assert [round(change.new, 1) for change in changes] == [40.6, 41.2, 41.8, 42.4]


def test_a_setpoint_outside_the_recipe_signals_at_every_shot() -> None:
    state = PressState(recipe={"cooling_time": {"setpoint": 38.0, "allowed": 1.0}})
    shots = [shot(n, setpoints={"cooling_time": 38.0 if n < 3 else 36.5}) for n in range(6)]

    signaled = [[signal.rule for signal in verdict.signals] for verdict in run(shots, state=state)]
    assert signaled == [[], [], [], ["setpoint_deviation"], ["setpoint_deviation"], ["setpoint_deviation"]]


def test_the_last_digit_of_a_converted_setpoint_is_no_deviation() -> None:
    state = PressState(recipe={"hold_pressure": {"setpoint": 40.0, "allowed": 0.0}})

    assert not run([shot(0, setpoints={"hold_pressure": 400.0 * 0.1})], state=state)[0].signals


def test_a_long_pause_is_a_stop_with_startup_shots_after_it() -> None:
    before = steady(60)
    after = [shot(n + 100, values=each.values) for n, each in enumerate(steady(20))]
    verdicts = run(before + after)

    assert [event.kind for event in verdicts[60].events] == ["stop"]
    assert [verdict.phase for verdict in verdicts[60:70]] == ["startup"] * 10


def test_a_timer_is_watched_for_change_and_never_gets_a_sigma() -> None:
    shots = [
        shot(n, values={"cushion": x, "cooling_time": 38.0 if n < 50 else 37.0})
        for n, x in enumerate(cushions(60))
    ]
    verdicts = run(shots)
    signals = {(signal.key, signal.chart) for verdict in verdicts for signal in verdict.signals}

    assert signals == {("cooling_time", "setting")}
    assert next(i for i, verdict in enumerate(verdicts) if verdict.signals) == 50


def test_a_characteristic_that_never_moved_is_watched_for_change() -> None:
    shots = [shot(n, values={"cushion": 6.0 if n < 50 else 6.5}) for n in range(55)]
    verdicts = run(shots)

    assert next(i for i, verdict in enumerate(verdicts) if verdict.signals) == 50


def test_an_unknown_quantity_with_a_unit_is_charted_too() -> None:
    shots = [
        shot(n, values={"gate_torque": x}, units={"gate_torque": "N*m"}) for n, x in enumerate(cushions(60))
    ]

    assert [each.key for verdict in run(shots) for each in verdict.new_limits] == ["gate_torque"]


def test_a_missing_value_leaves_the_charts_as_they_were() -> None:
    shots = steady(60)
    gap = [shot(60, values={"cycle_time": 60.0})]
    verdict = run(shots + gap)[-1]

    assert verdict.share is None
    assert not verdict.signals


def test_tray_positions_are_counted_on_from_the_tray_message() -> None:
    state = PressState(tray="41", tray_next=3)
    verdicts = run([shot(0), shot(1), shot(2, tray="42", tray_position=1)], state=state)

    assert [(each.tray, each.tray_position) for each in verdicts] == [("41", 3), ("41", 4), ("42", 1)]


@pytest.mark.parametrize("cut", [0, 5, 20, 34, 35, 120])
def test_a_state_that_went_through_json_judges_the_rest_alike(cut: int) -> None:
    shots = steady(160, shift=3.0, shift_from=100)
    state, known = PressState(), {}
    expected = run(shots)
    verdicts = []
    for index, each in enumerate(shots):
        if index == cut:
            for number, key_state in enumerate(state.keys.values(), start=1):
                if key_state.limits is not None:
                    key_state.limits.id = number
                    known[number] = key_state.limits
            state = load(json.loads(json.dumps(dump(state))), known.__getitem__)
        state, verdict = step(state, each, NEXT, POLICY)
        verdicts.append(verdict)

    assert [v.phase for v in verdicts] == [v.phase for v in expected]
    for one, other in zip(verdicts, expected, strict=True):
        assert (one.share is None) == (other.share is None)
        assert one.share is None or math.isclose(one.share, other.share or 0.0, abs_tol=1e-12)


def test_a_state_of_a_newer_version_is_refused_with_a_remedy() -> None:
    newer = {**dump(PressState()), "version": 99}

    with pytest.raises(StoreError, match="run the evenrun that wrote it"):
        load(newer, lambda _id: pytest.fail("not reached"))
