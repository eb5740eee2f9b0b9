"""The audit of a real run whose history is written down: 159 shots of a closure cap, 4 May 2022.

Source of the truth: the README beside the data. The switchover volume was stepped at cycles 293, 305, 320,
335, 351 and 366 (and by 0.01 cm3 at 281, which is the wobble of the record); the pressure of the recorded
curves shows the steps of 335 and 351 from cycles 338 and 352.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from collector.importing import import_csv
from collector.settings import Settings
from collector.sources import profiles
from dashboard.audit import render
from tests.dashboard.audit import floor

OUTSIDE = os.environ.get("EVENRUN_OUTSIDE")
pytestmark = pytest.mark.skipif(OUTSIDE is None, reason="EVENRUN_OUTSIDE is not set: no real files")
REAL = Path(OUTSIDE or "") / "data/real-cap-run"
FILES = {
    "shots.csv": "cap-press",
    "Messdaten_Strgrsn_Umschaltpunkt_WKZTemp.csv": "cap-projector",
    "Gewicht_Strgrsn_Umschaltpkt_WKZTemp.csv": "cap-weights",
}
CURVE = "curve_peak_melt_pressure"
STEPS_SEEN = (338, 352)


@pytest.fixture(scope="module")
def real(tmp_path_factory):
    from tests.dashboard.audit.conftest import audit_of  # noqa: PLC0415 - a fixture has a test's scope

    engine = floor.new_store(tmp_path_factory.mktemp("real"))
    for name, profile in FILES.items():
        done = import_csv(
            engine, Settings(), REAL / name, profiles.load(profile), profile_name=profile, clock=floor.CLOCK
        )
        assert not done.counts.refused
    yield audit_of(engine, run="R-CAP-1")
    engine.dispose()


@pytest.fixture(scope="module")
def page(real):
    return render.html(real)


def cycles(real, places):
    return [real.evidence.shot_list.counters[place] for place in places]


def test_times_are_said_to_be_reconstructed_and_no_time_of_a_shot_is_given(real, page):
    assert real.evidence.shots.time_reconstructed == 159
    assert "the times of 159 of 159 shots are reconstructed" in page
    assert "2022-05-04" not in page


def test_ages_are_unknown_and_said_to_be(real):
    assert all(fact.age_h is None for fact in real.evidence.gaugings)
    assert any("ages of 159 readings are unknown" in each for each in real.conclusion.not_known)


def test_zeros_of_the_peak_pressure_field_are_not_values(real, page):
    # 45 % of 159 shots read 0 in the raw table: polled before the press wrote the field.
    assert real.evidence.shots.not_written["peak_melt_pressure"] == 71
    assert "Peak melt pressure of 71 of 159 shots (45 %)" in page
    assert real.evidence.values["peak_melt_pressure"].min() > 50


def test_the_recorded_steps_are_events_at_their_cycles(real):
    steps = [each for each in real.evidence.events if each.kind == "setpoint"]
    assert {each.key for each in steps} == {"switchover_volume"}
    assert cycles(real, [each.place for each in steps]) == [293, 305, 320, 335, 351, 366]
    assert [round(each.new, 2) for each in steps] == [13.55, 13.45, 13.40, 13.20, 13.80, 13.50]


@pytest.mark.parametrize("cycle", STEPS_SEEN)
def test_single_shots_signal_within_three_shots_of_the_steps(real, cycle):
    groups = [each for each in real.evidence.signals if each.key == CURVE and each.chart == "individuals"]
    assert groups
    values = real.evidence.values[CURVE]
    lower, _, upper = next(each.lines for each in real.evidence.in_force if each.key == CURVE)
    outside = [
        real.evidence.shot_list.counters[place]
        for place in real.evidence.signal_places[CURVE]
        if not lower <= values.iloc[place] <= upper
    ]
    assert any(cycle <= each <= cycle + 3 for each in outside)


@pytest.mark.parametrize("cycle", STEPS_SEEN)
def test_a_change_point_of_the_pressure_lies_within_two_shots_of_each_step(real, cycle):
    found = next(each for each in real.found.histories if each.key == CURVE)
    assert any(abs(each - cycle) <= 2 for each in cycles(real, [shift.place for shift in found.shifts]))


def test_levels_before_and_after_are_those_of_the_recorded_curves(real):
    # README: mean of the curves per segment 1136, 1180 (from 335), 1081 (from 351), 1131 bar (from 366).
    found = next(each for each in real.found.histories if each.key == CURVE)
    at = dict(zip(cycles(real, [s.place for s in found.shifts]), found.shifts, strict=True))
    first = at[min(at, key=lambda cycle: abs(cycle - 338))]
    second = at[min(at, key=lambda cycle: abs(cycle - 352))]
    assert first.after > first.before + 4
    assert second.after < second.before - 8


def test_signals_before_the_large_steps_are_shown_and_not_tuned_away(real, page):
    early = [each for each in real.evidence.signals if real.evidence.shot_list.counters[each.first] < 335]
    assert early
    for each in early:
        assert real.evidence.shot_list.number(each.first) in page


def test_readings_of_the_projector_are_joined_by_order_without_an_offset(real, page):
    diameters = [fact for fact in real.evidence.gaugings if fact.characteristic == "diameter"]
    assert [fact.place for fact in diameters] == list(range(159))
    assert {(fact.joined_by, fact.order_offset) for fact in diameters} == {("order", 0)}
    assert "order, offset 0" in page


def test_the_shift_is_set_beside_the_setpoint_that_was_changed_before_it(real):
    told = " ".join(each.text for each in real.conclusion.statements)
    assert "Switchover volume from 13.40 cm³ to 13.20 cm³, at shot 335" in told
    assert "Switchover volume from 13.20 cm³ to 13.80 cm³, at shot 351" in told


def test_the_conclusion_claims_no_more_than_provisional_limits_allow(real):
    assert real.conclusion.certainty in {"likely", "weak"}
    assert any("provisional limits" in each for each in real.conclusion.not_known)
