"""Faults move what the trade's fault tables say they move (common practice, no source)."""

import inspect
from datetime import UTC, datetime, timedelta

import pytest

from simulator import faults
from simulator.faults import FAULTS, Episode, Situation, under
from simulator.floor import post

SETTINGS = post(1).setup.settings
START = datetime(2026, 11, 16, 8, tzinfo=UTC)


@pytest.fixture
def change(settled):
    """Change of the settled means by a full-grown fault."""

    def by(name: str, *, number: int = 1) -> dict[str, float]:
        situation = FAULTS[name].apply(Situation(post(number).setup.settings), progress=1.0, severity=1.0)
        usual = settled(number=number)
        ill = settled(
            number=number,
            health=situation.health,
            cooling_time_s=situation.settings.cooling_time_s,
        )
        return {key: ill[key] - usual[key] for key in usual}

    return by


def test_every_fault_function_is_in_the_table() -> None:
    written = {
        name
        for name, function in inspect.getmembers(faults, inspect.isfunction)
        if {"progress", "severity"} <= inspect.signature(function).parameters.keys() and name[0] != "_"
    }
    assert written == FAULTS.keys()


def test_a_stiffer_lot_raises_pressure_and_recovery_but_not_fill_time(change) -> None:
    moved = change("lot_change")
    assert moved["peak_melt_pressure"] > 3.0
    assert moved["recovery_time"] > 0.2
    assert moved["part_weight"] < 0
    assert moved["dome"] > 0.1
    assert abs(moved["injection_time"]) < 0.01


@pytest.mark.parametrize(("half", "other", "sign"), [("core", "cavity", 1), ("cavity", "core", -1)])
def test_a_blocked_line_warms_its_half_and_moves_dome_to_its_side(change, half, other, sign) -> None:
    moved = change(f"blocked_coolant_{half}")
    assert moved[f"mold_{half}_temperature"] > 3.0
    assert abs(moved[f"mold_{other}_temperature"]) < 0.5
    assert moved["coolant_flow"] < -2.0
    assert moved["coolant_return_temperature"] - moved["coolant_supply_temperature"] > 0.3
    assert sign * moved["dome"] > 0.4
    assert abs(moved["cycle_time"]) < 0.05


def test_a_worn_ring_lowers_cushion_and_weight_and_leaves_fill_time(change) -> None:
    moved = change("worn_check_ring")
    assert moved["cushion"] < -2.0
    assert moved["part_weight"] < -0.2
    assert moved["dome"] < 0
    assert abs(moved["injection_time"]) < 0.01


def test_a_gate_opened_early_shortens_time_in_mold_and_raises_dome(change) -> None:
    moved = change("early_gate")
    assert moved["time_in_mold"] < -5.0
    assert moved["mold_core_temperature"] > 0.3
    assert moved["dome"] > 0.08


def test_a_shorter_timer_shows_in_the_setpoint(change) -> None:
    assert change("shorter_cooling")["cycle_time"] == pytest.approx(-5.0, abs=0.05)
    situation = FAULTS["shorter_cooling"].apply(Situation(SETTINGS), progress=1.0, severity=1.0)
    assert situation.settings.cooling_time_s == SETTINGS.cooling_time_s - 5


@pytest.mark.parametrize("name", FAULTS)
def test_a_fault_without_progress_changes_nothing(name: str) -> None:
    assert FAULTS[name].apply(Situation(SETTINGS), progress=0.0, severity=1.0) == Situation(SETTINGS)


def test_an_episode_grows_from_its_start_and_is_over_at_its_end() -> None:
    episode = Episode(
        fault="worn_check_ring", press="P1", start=START, end=START + timedelta(hours=2), rise_s=600.0
    )
    grown = [episode.progress(START + timedelta(minutes=m)) for m in (-1, 0, 10, 60, 120)]
    assert grown[0] == grown[1] == grown[4] == 0.0
    assert grown[2] == pytest.approx(0.632, abs=0.001)
    assert 0.99 < grown[3] < 1.0


def test_severity_scales_the_fault() -> None:
    half = Episode(
        fault="worn_check_ring",
        press="P1",
        start=START,
        end=START + timedelta(hours=2),
        severity=0.5,
        rise_s=0.0,
    )
    assert under([half], Situation(SETTINGS), START).health.ring_leak_mm == pytest.approx(1.25)
