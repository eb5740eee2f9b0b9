"""Faults as data: every row of the trade's table, instances that differ, and how a case grows and goes."""

import inspect
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from simulator.faults import (
    FAULTS,
    Case,
    Episode,
    Situation,
    cooling,
    data,
    draw,
    heat,
    machine,
    material,
    melt,
    prepared,
    under,
)
from simulator.faults import people as people_faults
from simulator.floor import post
from simulator.health import SOUND

SETTINGS = post(1).setup.settings
START = datetime(2026, 11, 16, 8, tzinfo=UTC)
FAMILIES = (cooling, data, heat, machine, material, melt, people_faults)
PHYSICAL = [name for name, fault in FAULTS.items() if fault.row != 27]


def episode(case: Case, *, hours: float = 2.0, name: str = "worn_check_ring") -> Episode:
    return Episode(fault=name, press="P1", start=START, end=START + timedelta(hours=hours), case=case)


def at(minutes: float) -> datetime:
    return START + timedelta(minutes=minutes)


def test_every_row_of_the_trades_table_has_its_fault() -> None:
    assert {fault.row for fault in FAULTS.values()} == set(range(1, 29))


def test_every_function_that_draws_a_case_is_in_the_table() -> None:
    written = {
        name
        for family in FAMILIES
        for name, function in inspect.getmembers(family, inspect.isfunction)
        if inspect.signature(function).return_annotation is Case
        and function.__module__ == family.__name__
        and name[0] != "_"
    }
    assert written == FAULTS.keys()


@pytest.mark.parametrize("name", PHYSICAL)
def test_two_instances_of_a_fault_differ_and_one_seed_gives_one_instance(name: str) -> None:
    place = post(1)
    cases = [draw(name, seed, place) for seed in range(12)]
    assert cases[3] == draw(name, 3, place)
    sizes = {repr((case.health, case.settings, case.stop, case.hall_k)) for case in cases}
    entered_in_steps = any(case.settings for case in cases)
    assert len(sizes) >= (5 if entered_in_steps else 12)


@pytest.mark.parametrize("name", PHYSICAL)
def test_a_fault_that_has_not_grown_changes_nothing(name: str) -> None:
    assert draw(name, 1, post(1)).apply(Situation(SETTINGS), 0.0) == Situation(SETTINGS)


def test_a_limited_fill_is_set_up_before_the_fault_comes() -> None:
    place = prepared("lot_change_at_limit", 1, post(1))
    assert place.setup.settings.injection_pressure_limit_mpa < 78.0  # what this press's fill needs
    assert prepared("lot_change", 1, post(1)) == post(1)


def test_an_episode_grows_from_its_start_and_is_over_at_its_end() -> None:
    settling = episode(Case(health={"ring_leak_mm": 2.0}, growth="settling", rise_s=600.0))
    grown = [settling.grown(at(m)) for m in (-1, 0, 10, 60, 120)]
    assert grown[0] == grown[1] == grown[4] == 0.0
    assert grown[2] == pytest.approx(0.632, abs=0.001)
    assert 0.99 < grown[3] < 1.0


def test_a_ramp_is_straight_and_stays_at_its_top() -> None:
    ramp = episode(Case(health={"ring_leak_mm": 2.0}, growth="ramp", rise_s=3600.0))
    assert [ramp.grown(at(m)) for m in (30, 60, 90)] == pytest.approx([0.5, 1.0, 1.0])


def test_a_day_goes_up_and_down_again() -> None:
    day = Case(hall_k=3.0, growth="daily", rise_s=86_400.0)
    assert [day.grown(h * 3600.0) for h in (0, 6, 12, 24)] == pytest.approx([0.0, 0.5, 1.0, 0.0])


def test_material_comes_and_goes_with_the_hoppers_lag() -> None:
    lot = episode(
        Case(health={"viscosity_factor": 1.1}, growth="settling", lag_s=900.0, rise_s=300.0, fades=True)
    )
    before, grown, after_end, mixing, gone = (lot.grown(at(m)) for m in (14, 60, 134, 140, 240))
    assert before == 0.0
    assert grown > 0.99
    assert after_end == pytest.approx(1.0, abs=1e-3)
    assert 0.2 < mixing < 0.6
    assert gone == 0.0


def test_spells_come_and_go() -> None:
    bridge = Case(health={"feed_share": 0.3}, spells=(60.0, 120.0, 30.0, 90.0))
    assert [bridge.grown(s) for s in (0, 59, 61, 181, 215, 301)] == [1, 1, 0, 1, 0, 1]


def test_what_has_spent_itself_is_over_before_its_episode_is() -> None:
    assert [Case(hall_k=1.0, lasts_s=60.0).grown(s) for s in (30.0, 61.0)] == [1.0, 0.0]


def test_cases_add_up_zone_by_zone() -> None:
    one, two = (
        episode(Case(health={"thermocouple_error_k": errors, "ring_leak_mm": 1.0}))
        for errors in ((-10.0, 0.0, 0.0, 0.0), (0.0, -5.0, 0.0, 0.0))
    )
    health = under([one, two], Situation(SETTINGS), START).health
    assert health == replace(SOUND, thermocouple_error_k=(-10.0, -5.0, 0.0, 0.0), ring_leak_mm=2.0)


def test_a_setting_is_entered_at_once() -> None:
    case = Case(settings={"cooling_time_s": 33.0}, growth="ramp", rise_s=100.0)
    cooling_s = [case.apply(Situation(SETTINGS), g).settings.cooling_time_s for g in (0.4, 0.6)]
    assert cooling_s == [38.0, 33.0]


def test_a_case_can_be_made_larger_or_quicker() -> None:
    case = Case(health={"core_flow_share": 0.4}, growth="ramp", lag_s=900.0, rise_s=7200.0)
    assert case.times(0.5).health == {"core_flow_share": pytest.approx(0.7)}
    assert (case.within(1000.0).lag_s, case.within(1000.0).rise_s) == (500.0, 500.0)


# Until a fault is nine tenths grown, in minutes, where the trade's table says how fast (common practice, no
# source); what takes days, weeks or months there is pressed into hours.
AT_ONCE = (0.0, 0.1)
HOURS = (45.0, 720.0)
SPEED = {
    "lot_change": (4.0, 75.0),  # a step at the hopper
    "wet_resin": (10.0, 70.0),
    "worn_check_ring": HOURS,
    "check_ring_not_seating": AT_ONCE,
    "leaking_nozzle": (15.0, 200.0),
    "open_heater_band": AT_ONCE,  # the zone follows over 5 to 20 minutes by itself
    "stuck_contactor": AT_ONCE,
    "shorter_cooling": AT_ONCE,
    "operator_paced_gate": AT_ONCE,
    "switchover_moved": AT_ONCE,
    "worn_screw": HOURS,
    "blocked_vent": HOURS,
}


@pytest.mark.parametrize("name", SPEED)
def test_a_fault_comes_as_fast_as_the_table_says(name: str) -> None:
    for seed in range(20):
        case = replace(draw(name, seed, post(1)), spells=())
        minutes = next(n / 10 for n in range(10_000) if case.grown(6.0 * n) >= 0.9)
        assert SPEED[name][0] <= minutes <= SPEED[name][1]
