"""One press through its spans: the twin without faults, stops, the hopper's lag, and scrapped discs."""

from datetime import UTC, datetime, timedelta
from itertools import pairwise

import numpy as np
import pytest

from simulator.faults import Case, Episode, Stop
from simulator.floor import post
from simulator.gauging import gauge_disc
from simulator.line import Line
from simulator.records import SimEvent, SimRecord, SimShot, happened
from simulator.spans import Span, Standing
from simulator.truth import Tolerance, is_touched, out_of_tolerance

START = datetime(2026, 11, 17, 6, tzinfo=UTC)


def line_shots(case: Case, *, shots: int, begins_after: int, ends_after: int, seed: int = 4) -> list[SimShot]:
    return [r for r in line_records(case, shots, begins_after, ends_after, seed) if isinstance(r, SimShot)]


def line_records(
    case: Case, shots: int, begins_after: int, ends_after: int, seed: int = 4
) -> list[SimRecord]:
    begin, end = (START + timedelta(seconds=62 * n) for n in (begins_after, ends_after))
    episode = Episode(fault="something", press="P1", start=begin, end=end, case=case)
    line = Line(post(1), seed=seed, episodes=[episode], standing=Standing(counter=0, tray=0))
    return list(line.records([Span(start=START, run="R-0001", shots=shots, warm=True)]))


def test_without_a_fault_a_disc_is_its_own_twin_and_with_one_chance_is_the_same() -> None:
    case = Case(health={"core_supply_k": 3.0})
    ill = line_shots(case, shots=160, begins_after=40, ends_after=90)
    well = line_shots(Case(), shots=160, begins_after=40, ends_after=90)
    assert [s.truth.sound_dome_24h_mm for s in ill] == pytest.approx(
        [s.truth.dome_24h_mm for s in well], abs=0.005
    )
    moved = np.array([s.truth.dome_24h_mm - s.truth.sound_dome_24h_mm for s in ill])
    assert (moved[:40] == 0).all()
    assert moved[80:90].min() > 0.3
    assert 0 < moved[95] < moved[91]  # the mold is still warm
    assert (moved[-20:] == 0).all()
    left = [s for s in ill if not s.truth.faults and is_touched(s)]
    assert left
    assert left[0].truth.counter > 90


def test_a_stop_that_is_told_starts_up_again_and_one_that_is_not_is_one_long_cycle() -> None:
    by_told = {
        told: line_records(Case(stop=Stop(900.0, told), lasts_s=3000.0), 120, 40, 110)
        for told in (True, False)
    }
    for said, records in by_told.items():
        shots = [record for record in records if isinstance(record, SimShot)]
        pauses = [b.ended_at - a.ended_at for a, b in pairwise(shots)]
        assert sum(pause > timedelta(minutes=14) for pause in pauses) == 1
        states = [r.payload["reason"] for r in records if isinstance(r, SimEvent) and r.kind == "state"]
        assert ("short stop" in states) == said
        assert any(shot.truth.startup for shot in shots) == said
        longest = max(shot.values["cycle_time"] for shot in shots)
        assert (longest > 900.0) != said
        place = max(range(len(pauses)), key=pauses.__getitem__) + 1
        usual = np.mean([s.values["mold_core_temperature"] for s in shots[:40]])
        cold = min(shot.values["mold_core_temperature"] for shot in shots[place : place + 3])
        assert cold < usual - 3.0
        assert abs(shots[place + 30].values["mold_core_temperature"] - usual) < 0.8


def test_a_lot_is_told_when_poured_and_felt_when_it_has_come_down_the_hopper() -> None:
    case = Case(
        health={"viscosity_factor": 1.1},
        growth="settling",
        lag_s=1860.0,
        rise_s=120.0,
        fades=True,
        lot="4471",
    )
    records = line_records(case, 200, 40, 120)
    shots = [record for record in records if isinstance(record, SimShot)]
    poured = [r.at for r in records if isinstance(r, SimEvent) and r.payload.get("lot") == "4471"]
    felt = next(s for s in shots if s.truth.lot == "4471")
    assert timedelta(minutes=31) < felt.ended_at - poured[0] < timedelta(minutes=36)
    peaks = [s.values["peak_melt_pressure"] for s in shots]
    assert np.mean(peaks[42:68]) == pytest.approx(np.mean(peaks[:40]), rel=0.01)
    assert np.mean(peaks[80:120]) > 1.05 * np.mean(peaks[:40])
    assert np.mean(peaks[122:148]) > 1.05 * np.mean(peaks[:40])  # the last of the lot is still coming down
    assert np.mean(peaks[-30:]) == pytest.approx(np.mean(peaks[:40]), rel=0.01)


def test_a_lot_that_nobody_tells_of_is_in_no_message() -> None:
    case = Case(health={"viscosity_factor": 1.1}, lot="4471", announced=False)
    records = line_records(case, 60, 20, 60)
    assert not any(r.payload.get("lot") == "4471" for r in records if isinstance(r, SimEvent))
    assert any(r.truth.lot == "4471" for r in records if isinstance(r, SimShot))


def test_what_looks_wrong_is_thrown_away_and_cannot_be_gauged() -> None:
    short = line_shots(Case(health={"ring_leak_mm": 10.0}), shots=140, begins_after=40, ends_after=140)
    before, after = short[:40], short[45:]
    assert sum(s.truth.scrapped for s in before) <= 2
    assert 0.8 < np.mean([s.truth.scrapped for s in after]) < 0.98
    thrown = next(s for s in short if s.truth.scrapped)
    assert gauge_disc(thrown, 1) == ()
    assert len(gauge_disc(next(s for s in short if not s.truth.scrapped), 1)) == 3
    assert out_of_tolerance([thrown], {"P1": Tolerance(9.0, 9.1)}) == []


def test_the_first_shots_of_a_cold_press_are_thrown_away() -> None:
    line = Line(post(1), seed=1, episodes=[], standing=Standing(counter=0, tray=0))
    shots = [r for r in line.records([Span(start=START, run="R-0001", shots=10)]) if isinstance(r, SimShot)]
    assert [s.truth.scrapped for s in shots[:3]] == [True, True, True]
    assert sum(s.truth.scrapped for s in shots[3:]) <= 1


@pytest.mark.parametrize("told", [True, False])
def test_a_stop_that_reaches_into_lunch_goes_on_after_it_in_the_order_of_time(told: bool) -> None:
    """A stop of an hour, ten minutes before a lunch of half an hour."""
    noon, begin = START + timedelta(hours=1), START + timedelta(minutes=50)
    case = Case(stop=Stop(3600.0, told), lasts_s=7200.0)
    episode = Episode(fault="stop", press="P1", start=begin, end=START + timedelta(hours=9), case=case)
    line = Line(post(1), seed=4, episodes=[episode], standing=Standing(counter=0, tray=0))
    morning = Span(start=START, end=noon, run="R-0001", warm=True, stop_reason="lunch")
    afternoon = Span(start=noon + timedelta(minutes=30), end=START + timedelta(hours=4), run="R-0001")
    records = list(line.records([morning, afternoon]))
    assert all(happened(a) <= happened(b) for a, b in pairwise(records))
    shots = [record for record in records if isinstance(record, SimShot)]
    stood = [
        (b.ended_at - a.ended_at)
        for a, b in pairwise(shots)
        if b.ended_at - a.ended_at > timedelta(minutes=5)
    ]
    assert sum(stood, timedelta()) > timedelta(minutes=59)
    assert shots[-1].ended_at > START + timedelta(hours=3, minutes=55)
    assert 20 < shots[-1].values["mold_core_temperature"] < 35
