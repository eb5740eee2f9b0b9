"""Whether a press does what it was told.

What must be told is the trade's: a press at its pressure or speed limit no longer follows its setpoint, a
zone with a failed band leaves it, a screw that is used up has no cushion (common practice, no source).
"""

from __future__ import annotations

import json
from itertools import pairwise

import numpy as np
import pytest

from collector import sense
from collector.contract import quantities
from collector.contract.drives import DRIVES, NO_CUSHION, of_setpoint
from collector.contract.shot import Shot
from collector.engine import run
from collector.identity import Identity, Kind
from collector.press_state import PressState
from collector.sense import IN_A_ROW, LEARN, NOTHING, SETTLE, SETTLE_SLOW, look
from collector.verdict import Policy
from tests.collector.shots_in import shot

Told = list[tuple[int, str, str, int]]


def told(setpoints: list[dict[str, float]], values: list[dict[str, float]]) -> Told:
    """Place, key, rule and direction of everything said of shots in a row, one at a time."""
    known, found = NOTHING, []
    for place, (asked, made) in enumerate(zip(setpoints, values, strict=True)):
        known, signals = look(known, asked, [made])
        found += [(place, each.key, each.rule, each.direction) for _, each in signals]
    return found


def test_every_pair_names_known_quantities_that_may_stand_there() -> None:
    for drive in DRIVES:
        asked, made = quantities.find(drive.setpoint), quantities.find(drive.actual)
        assert asked is not None
        assert made is not None
        assert "setpoint" in asked.applies_to
        assert "shot" in made.applies_to
        assert drive.relation == "inverse" or asked.unit == made.unit
    assert all(quantities.find(key) is not None for key in NO_CUSHION)


def test_a_zone_is_driven_by_the_setpoint_of_the_same_zone() -> None:
    drive = of_setpoint("barrel_temperature.2")

    assert drive is not None
    assert drive.actual == "barrel_temperature.2"
    assert of_setpoint("hold_pressure.2") is None or quantities.find("hold_pressure.2") is None
    assert of_setpoint("nozzle_torque") is None


def test_a_hold_pressure_that_is_raised_and_not_reached_is_told_once() -> None:
    asked = [{"hold_pressure": 40.0}] * 30 + [{"hold_pressure": 60.0}] * 40
    made = [{"hold_melt_pressure": 40.1 + 0.05 * (n % 2)} for n in range(70)]

    found = told(asked, made)

    assert found == [(30 + SETTLE + LEARN - 1, "hold_melt_pressure", "did_not_follow", -1)]


def test_a_hold_pressure_that_follows_is_not_told() -> None:
    asked = [{"hold_pressure": 40.0}] * 30 + [{"hold_pressure": 60.0}] * 40
    made = [{"hold_melt_pressure": 39.0 if n < 30 else 57.5} for n in range(70)]

    assert told(asked, made) == []


def test_injection_that_is_set_faster_and_takes_as_long_as_before_is_told() -> None:
    """Fill time is stroke over speed while the press is not at a limit: 40 to 50 mm/s makes 2.0 s 1.6 s."""
    asked = [{"injection_speed": 40.0}] * 20 + [{"injection_speed": 50.0}] * 20
    limited = [{"injection_time": 2.0}] * 40
    healthy = [{"injection_time": 2.0}] * 20 + [{"injection_time": 1.62}] * 20

    assert [rule for _, _, rule, _ in told(asked, limited)] == ["did_not_follow"]
    assert told(asked, healthy) == []


def test_a_change_smaller_than_what_the_value_does_by_itself_is_not_judged() -> None:
    asked = [{"hold_pressure": 40.0}] * 20 + [{"hold_pressure": 41.0}] * 30

    assert told(asked, [{"hold_melt_pressure": 40.0}] * 50) == []


def test_a_zone_that_leaves_its_setpoint_is_told_from_the_third_shot_until_it_is_back() -> None:
    zone = "barrel_temperature.2"
    reads = [200.0] * 20 + [190.0] * 6 + [199.0] * 5
    found = told([{zone: 200.0}] * len(reads), [{zone: value} for value in reads])

    assert found == [(place, zone, "moved_alone", -1) for place in range(20 + IN_A_ROW - 1, 26)]


def test_a_sensor_that_always_reads_beside_its_setpoint_is_not_told() -> None:
    reads = 212.0 + np.random.default_rng(5).normal(0.0, 0.5, 500)

    zone = "barrel_temperature.1"
    assert told([{zone: 200.0}] * 500, [{zone: float(value)} for value in reads]) == []


def test_a_temperature_is_given_time_to_follow() -> None:
    zone = "barrel_temperature.1"
    way = [200.0] * 15 + [200.0 + min(20.0, 0.8 * n) for n in range(60)]
    asked = [{zone: 200.0}] * 15 + [{zone: 220.0}] * 60

    assert SETTLE_SLOW * 0.8 > 20.0
    assert told(asked, [{zone: value} for value in way]) == []


def test_a_setpoint_that_moves_twice_in_a_row_is_judged_against_the_level_before_both() -> None:
    asked = [{"hold_pressure": 40.0}] * 20 + [{"hold_pressure": 45.0}] * 2 + [{"hold_pressure": 60.0}] * 20
    made = [{"hold_melt_pressure": 40.0}] * 42

    assert [rule for _, _, rule, _ in told(asked, made)] == ["did_not_follow"]


def test_a_timer_that_moves_by_itself_is_left_to_its_own_chart() -> None:
    made = [{"cooling_time": 38.0}] * 20 + [{"cooling_time": 30.0}] * 20

    assert told([{"cooling_time": 38.0}] * 40, made) == []


def test_a_cushion_that_is_used_up_is_told_at_every_shot() -> None:
    made = [{"cushion": value} for value in (6.0, 5.8, 0.4, 0.0, 6.1)]

    assert told([{}] * 5, made) == [(2, "cushion", "no_cushion", -1), (3, "cushion", "no_cushion", -1)]


def test_a_press_that_never_wrote_a_cushion_has_no_such_sensor() -> None:
    assert told([{}] * 50, [{"cushion": 0.0}] * 50) == []


@pytest.mark.parametrize("cuts", [[0, 90], [0, 1, 2, 45, 90], list(range(91))])
def test_any_cut_says_the_same_and_survives_the_store(cuts: list[int]) -> None:
    rng = np.random.default_rng(8)
    levels = [40.0] * 50 + [34.0] * 40
    made = [{"hold_melt_pressure": x + float(rng.normal(0, 2.0)), "cushion": 6.0} for x in levels]
    asked = {"hold_pressure": 40.0}
    known, whole = look(NOTHING, asked, made)
    parts, state = [], NOTHING
    for start, stop in pairwise(cuts):
        state, found = look(state, asked, made[start:stop])
        state = sense.load(json.loads(json.dumps(sense.dump(state))))
        parts += [(start + place, each) for place, each in found]

    assert whole, "the comparison must cover a signal"
    assert parts == whole
    assert state == known


def test_the_engine_tells_it_of_charted_shots_only() -> None:
    """A press that starts up is not where it was set to yet."""
    def of(number: int) -> Shot:
        made = {"cushion": 6.0 + 0.1 * (number % 3), "hold_melt_pressure": 40.0 if number < 60 else 20.0}
        return shot(number, values=made, setpoints={"hold_pressure": 40.0})

    shots = [of(number) for number in range(80)]
    policy = Policy(vital=frozenset({"cushion"}), startup_shots=10, provisional_shots=25)
    _, verdicts = run(PressState(), shots, [Identity(Kind.NEW, epoch=0)] * 80, policy)

    said = [n for n, each in enumerate(verdicts) if any(s.kind == "sense" for s in each.signals)]
    assert said == list(range(62, 80))
    assert not [s for each in verdicts[:10] for s in each.signals]
