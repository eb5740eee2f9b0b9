"""What sensors and gateways do to records; the shots themselves stay as they were made."""

from collections import Counter
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from itertools import pairwise

import numpy as np
import pytest

from simulator.data_faults import Gateway
from simulator.faults import FAULTS, Case, Episode, draw
from simulator.faults.garble import Garble
from simulator.floor import post
from simulator.records import SimEvent, SimRecord, SimShot, happened
from simulator.scenarios import one_fault, plain

START = datetime(2026, 11, 16, 6, tzinfo=UTC)
FROM, TO = START + timedelta(minutes=30), START + timedelta(minutes=70)
DATA = [name for name, fault in FAULTS.items() if fault.row == 27]


@pytest.fixture(scope="module")
def sound() -> list[SimRecord]:
    return list(plain(3, START, shots=100))


Passed = tuple[list[SimRecord], list[SimShot]]


@pytest.fixture
def passed(sound) -> Callable[..., Passed]:
    """What arrives, and what was made, when one garble is at work for forty minutes."""

    def by(garble: Garble, spells: tuple[float, ...] = ()) -> Passed:
        case, made = Case(garble=garble, spells=spells), list[SimShot]()
        episode = Episode(fault="bad_data", press="P1", start=FROM, end=TO, case=case)
        arrived = list(Gateway([episode], np.random.default_rng(1)).send(sound, made.append))
        return arrived, made

    return by


def shots(records: list[SimRecord]) -> list[SimShot]:
    return [record for record in records if isinstance(record, SimShot)]


def bad(records: list[SimRecord]) -> list[SimShot]:
    return [shot for shot in shots(records) if shot.truth.faults]


@pytest.mark.parametrize("name", DATA)
def test_a_data_fault_leaves_discs_alone_and_is_named_in_the_truth(name: str) -> None:
    told = one_fault(name, 5, START, shots=200)
    list(told)
    sound_discs = [s.truth.dome_24h_mm for s in told.made]
    assert [s.truth.sound_dome_24h_mm for s in told.made] == sound_discs
    assert any(name in s.truth.faults for s in told.made)
    assert [s.truth.counter for s in told.made] == list(range(48_211, 48_211 + 640))


@pytest.mark.parametrize("name", DATA)
def test_two_instances_of_a_data_fault_differ(name: str) -> None:
    cases = [draw(name, seed, post(1)) for seed in range(12)]
    assert len({repr(case) for case in cases}) == 12
    assert all(case.garble is not None for case in cases)


def test_a_stuck_reading_repeats_and_nothing_else_does(passed, sound) -> None:
    arrived, _ = passed(Garble("stuck", keys=("mold_core_temperature",)))
    ill = bad(arrived)
    assert len(ill) == pytest.approx(38, abs=2)
    assert len({shot.values["mold_core_temperature"] for shot in ill}) == 1
    assert len({shot.values["mold_cavity_temperature"] for shot in ill}) > 10
    well = [shot for shot in shots(arrived) if not shot.truth.faults]
    assert all(shot in sound for shot in well)


def test_a_loose_plug_holds_another_value_each_time(passed) -> None:
    arrived, _ = passed(Garble("stuck", keys=("mold_core_temperature",)), spells=(600.0, 600.0))
    ill = bad(arrived)
    assert len({shot.values["mold_core_temperature"] for shot in ill}) == 2


def test_a_dead_reading_is_zero(passed) -> None:
    arrived, _ = passed(Garble("zero", keys=("coolant_flow",)))
    assert {shot.values["coolant_flow"] for shot in bad(arrived)} == {0.0}


def test_a_coarse_reading_has_few_values(passed) -> None:
    arrived, _ = passed(Garble("coarse", keys=("cushion",), size=0.5))
    ill = bad(arrived)
    assert len(ill) == pytest.approx(38, abs=2)
    assert all((2 * shot.values["cushion"]).is_integer() for shot in ill)


def test_a_wrong_unit_multiplies_or_turns_to_fahrenheit(passed, sound) -> None:
    """1 MPa = 0.145 kpsi = 10 bar, 1 bar = 14.5 psi (NIST SP 811); 200 degC = 392 degF."""
    before = {shot.counter: shot for shot in shots(sound)}
    for factor in (0.145, 10.0, 14.5):
        arrived, _ = passed(Garble("scaled", keys=("peak_melt_pressure",), size=factor))
        for shot in bad(arrived):
            pressure = before[shot.counter].values["peak_melt_pressure"]
            assert shot.values["peak_melt_pressure"] == pytest.approx(factor * pressure, abs=1e-3)
    arrived, _ = passed(Garble("fahrenheit", keys=("barrel_temperature.3",)))
    for shot in bad(arrived):
        celsius = before[shot.counter].values["barrel_temperature.3"]
        assert shot.values["barrel_temperature.3"] == pytest.approx(392 + 1.8 * (celsius - 200), abs=0.01)


def test_a_reset_counter_begins_anew_and_the_truth_counts_on(passed) -> None:
    arrived, _ = passed(Garble("counter", size=1.0))
    told = [shot.counter for shot in shots(arrived)]
    begins = len(told) - 1 - told[::-1].index(1)  # the press was at some forty shots
    assert told[begins:] == list(range(1, len(told) - begins + 1))
    assert shots(arrived)[begins] == bad(arrived)[0]
    assert all(b.truth.counter == a.truth.counter + 1 for a, b in pairwise(shots(arrived)))


@pytest.mark.parametrize("step_s", [3600.0, -420.0])
def test_a_clock_that_jumps_stamps_shots_and_events_wrong(passed, step_s: float) -> None:
    arrived, _ = passed(Garble("clock", size=step_s))
    step = timedelta(seconds=step_s)
    assert all(shot.ended_at - shot.truth.ended_at == step for shot in bad(arrived))
    trays = [r for r in arrived if isinstance(r, SimEvent) and FROM <= happened(r) < TO]
    assert trays
    assert all(tray.at - happened(tray) == step for tray in trays)
    assert all(happened(a) <= happened(b) for a, b in pairwise(arrived))


def test_messages_come_twice_at_once_or_later(passed, sound) -> None:
    at_once, made = passed(Garble("twice", chance=0.5))
    assert len(made) == len(shots(sound))
    extra = Counter(shot.counter for shot in shots(at_once))
    assert 10 < sum(count == 2 for count in extra.values()) < 30
    later, _ = passed(Garble("twice", chance=0.5, size=600.0))
    places = {}
    for place, shot in enumerate(shots(later)):
        places.setdefault(shot.counter, []).append(place)
    assert {places_of[-1] - places_of[0] > 5 for places_of in places.values() if len(places_of) == 2} == {
        True
    }


def test_single_messages_come_late_by_the_time_drawn(passed, sound) -> None:
    arrived, made = passed(Garble("late", chance=0.2, size=900.0))
    assert len(arrived) == len(sound)
    assert [shot.counter for shot in made] == [shot.counter for shot in shots(sound)]
    counters = [shot.counter for shot in shots(arrived)]
    assert counters != sorted(counters)
    late = {shot.counter for shot in bad(arrived)}
    assert [counter for counter in counters if counter not in late] == sorted(set(counters) - late)


def test_after_an_outage_everything_is_handed_in_in_order(sound) -> None:
    case = Case(garble=Garble("late"), spells=(1200.0, 1200.0))
    outage = Episode(fault="bad_data", press="P1", start=FROM, end=TO, case=case)
    made: list[SimShot] = []
    waited = {
        shot.counter: made[-1].truth.ended_at - shot.truth.ended_at
        for shot in Gateway([outage], np.random.default_rng(1)).send(sound, made.append)
        if isinstance(shot, SimShot)
    }
    assert list(waited) == [shot.counter for shot in shots(sound)]
    late = [wait for wait in waited.values() if wait]
    assert len(late) == pytest.approx(19, abs=2)
    assert max(late) == pytest.approx(timedelta(minutes=20), abs=timedelta(minutes=2))


def test_lost_messages_never_come_but_their_shots_were_made(passed, sound) -> None:
    arrived, made = passed(Garble("lost", chance=0.5))
    assert len(made) == len(shots(sound))
    lost = {shot.counter for shot in made if shot.truth.faults}
    assert 10 < len(lost) < 30
    assert {shot.counter for shot in shots(arrived)} == {shot.counter for shot in made} - lost
