"""How a press answers its settings. Facts of the trade are common practice, no source, unless said."""

from dataclasses import replace

import numpy as np
import pytest

from simulator.floor import post
from simulator.health import SOUND
from simulator.press import STARTUP_SHOTS, cold_start, shoot, stand_still


def stream(shots: int, seed: int = 3, number: int = 1) -> list[dict[str, float]]:
    setup, rng = post(number).setup, np.random.default_rng(seed)
    state, rows = cold_start(setup, rng), []
    for _ in range(shots):
        state, outcome = shoot(state, setup, SOUND, ambient_c=23.0, rng=rng)
        rows.append(outcome.values)
    return rows


def test_raising_speed_shortens_fill_and_raises_pressure_and_dome(settled) -> None:
    slow, fast = settled(injection_speed_mm_s=36.0), settled(injection_speed_mm_s=44.0)
    assert fast["injection_time"] < slow["injection_time"]
    assert fast["peak_melt_pressure"] > slow["peak_melt_pressure"]
    assert fast["dome"] > slow["dome"] + 0.03


def test_a_free_fill_ignores_the_pressure_limit(settled) -> None:
    assert settled(injection_pressure_limit_mpa=95.0) == settled(injection_pressure_limit_mpa=120.0)


def test_held_by_the_limit_more_pressure_fills_faster_and_domes_more(settled) -> None:
    low, high = settled(injection_pressure_limit_mpa=60.0), settled(injection_pressure_limit_mpa=64.0)
    assert low["peak_melt_pressure"] == pytest.approx(60.0, abs=0.2)
    assert high["injection_time"] < 0.95 * low["injection_time"]
    assert high["dome"] > low["dome"] + 0.02


def test_held_by_the_press_itself_neither_limit_nor_speed_helps(settled) -> None:
    weak = {"greatest_melt_pressure_mpa": 62.0}
    usual = settled(machine=weak)
    assert usual["peak_melt_pressure"] == pytest.approx(62.0, abs=0.2)
    assert settled(machine=weak, injection_pressure_limit_mpa=110.0) == usual
    assert settled(machine=weak, injection_speed_mm_s=48.0)["injection_time"] == pytest.approx(
        usual["injection_time"], rel=1e-3
    )


def test_at_the_limit_pressure_goes_flat_and_fill_time_spreads() -> None:
    free = stream(300)[50:]
    spread = {key: np.std([row[key] for row in free]) for key in ("injection_time", "peak_melt_pressure")}
    setup, rng = post(1).setup, np.random.default_rng(3)
    held_setup = replace(setup, settings=replace(setup.settings, injection_pressure_limit_mpa=60.0))
    state, held = cold_start(held_setup, rng), []
    for _ in range(300):
        state, outcome = shoot(state, held_setup, SOUND, ambient_c=23.0, rng=rng)
        held.append(outcome.values)
    assert np.std([row["peak_melt_pressure"] for row in held[50:]]) < spread["peak_melt_pressure"] / 3
    assert np.std([row["injection_time"] for row in held[50:]]) > 2 * spread["injection_time"]


def test_a_long_cycle_makes_a_flatter_disc_than_a_short_one(settled) -> None:
    short, long = settled(cooling_time_s=41.0), settled(cooling_time_s=91.0)
    assert short["cycle_time"] == pytest.approx(65, abs=1)
    assert long["cycle_time"] == pytest.approx(115, abs=1)
    assert long["dome"] / short["dome"] <= 0.85


def test_hotter_melt_more_pack_and_shorter_cooling_raise_dome(settled) -> None:
    usual = settled()["dome"]
    assert settled(barrel_temperatures_c=(200.0, 205.0, 210.0))["dome"] > usual + 0.02
    assert settled(hold_pressure_mpa=45.0)["dome"] > usual + 0.05
    assert settled(cooling_time_s=28.0)["dome"] > usual + 0.1


def test_a_blend_moves_dome_more_than_any_one_setting(settled) -> None:
    """Each setting over the range that a technician would try on this press."""
    tried = {
        "injection_speed_mm_s": (36.0, 44.0),
        "hold_pressure_mpa": (36.0, 44.0),
        "cooling_time_s": (34.0, 42.0),
        "barrel_temperatures_c": ((185.0, 190.0, 195.0), (195.0, 200.0, 205.0)),
        "coolant_supply_temperature_c": (17.0, 23.0),
    }
    by_setting = {
        name: abs(settled(**{name: high})["dome"] - settled(**{name: low})["dome"])
        for name, (low, high) in tried.items()
    }
    by_blend = abs(settled(blend="B")["dome"] - settled(blend="A")["dome"])
    assert by_blend > max(by_setting.values()), by_setting


def test_more_pack_makes_a_heavier_disc_at_the_known_rate(settled) -> None:
    """About 0.15 g on 175 g for 1 MPa of pack, from the compressibility of the melt."""
    per_mpa = (
        settled(hold_pressure_mpa=42.0)["part_weight"] - settled(hold_pressure_mpa=38.0)["part_weight"]
    ) / 4
    assert per_mpa == pytest.approx(0.15, abs=0.06)


def test_after_a_stop_everything_comes_back_within_the_startup_shots() -> None:
    setup, rng = post(1).setup, np.random.default_rng(8)
    state = cold_start(setup, rng)
    for _ in range(80):
        state, outcome = shoot(state, setup, SOUND, ambient_c=23.0, rng=rng)
    before = outcome.values["mold_core_temperature"]
    state = stand_still(state, setup, idle_s=1800.0)
    values = []
    for _ in range(2 * STARTUP_SHOTS):
        state, outcome = shoot(state, setup, SOUND, ambient_c=23.0, rng=rng)
        values.append(outcome.values)
    assert values[0]["mold_core_temperature"] < before - 5
    assert values[0]["peak_melt_pressure"] < np.mean([v["peak_melt_pressure"] for v in values[-10:]]) - 2
    assert values[STARTUP_SHOTS]["mold_core_temperature"] == pytest.approx(before, abs=0.8)


def test_a_screw_at_its_end_makes_a_light_disc_without_cushion(settled) -> None:
    usual, short = settled(), settled(screw_start_position_mm=77.0)
    assert short["cushion"] == 0.0
    assert short["part_weight"] < usual["part_weight"] - 1.5


def test_the_same_seed_gives_the_same_shots_and_another_seed_others() -> None:
    assert stream(30, seed=4) == stream(30, seed=4)
    assert stream(30, seed=4) != stream(30, seed=5)
