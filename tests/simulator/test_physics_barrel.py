"""Barrel and coolant as controlled systems, against solved equations and what the floor knows of them.

Times and plateaus marked "floor" are common practice, no source.
"""

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from simulator.barrel import (
    LOSS_W_K,
    NEIGHBOR_W_K,
    RESERVE,
    STEEL_J_K,
    barrel_after,
    targets_c,
)
from simulator.floor import post
from simulator.hall import HALL_C
from simulator.health import ALL_ONE, ALL_ZERO, SOUND, Health, PerZone
from simulator.heat import tank_after

TARGETS = targets_c((190.0, 195.0, 200.0))
MINUTE = 60.0


def one(zone: int, value: float, others: PerZone) -> PerZone:
    return tuple(value if i == zone else other for i, other in enumerate(others))


def after(health: Health, minutes: float, start: PerZone = TARGETS) -> PerZone:
    return barrel_after(start, TARGETS, health, elapsed_s=minutes * MINUTE)


def test_a_sound_barrel_stays_where_it_is_set() -> None:
    assert after(SOUND, 60.0) == TARGETS


def test_a_changed_setpoint_is_reached_in_ten_to_thirty_minutes() -> None:
    """Floor: to within half a kelvin after a change of 10 K."""
    start = tuple(target - 10.0 for target in TARGETS)
    minutes = next(m for m in range(1, 60) if max(np.subtract(TARGETS, after(SOUND, m, start))) < 0.5)
    assert 10 <= minutes <= 30


def test_an_open_band_falls_to_a_plateau_that_its_neighbors_hold() -> None:
    """Plateau by hand: loss to the hall equals what the two neighbors give. Floor: 10 to 40 K or so, two
    thirds of the way within 5 to 20 minutes, and the neighbors stay."""
    dead = replace(SOUND, heater_power_share=one(1, 0.0, ALL_ONE))
    # 0 = LOSS (T - hall) + 2 NEIGHBOR (T - 195), for setpoints that lie evenly about the middle one
    plateau = (LOSS_W_K * HALL_C + 2 * NEIGHBOR_W_K * 195.0) / (LOSS_W_K + 2 * NEIGHBOR_W_K)
    end = after(dead, 180.0)
    assert end[1] == pytest.approx(plateau, abs=0.3)
    assert 10.0 < 195.0 - plateau < 45.0
    minutes = next(m for m in range(1, 60) if 195.0 - after(dead, m)[1] > 0.63 * (195.0 - plateau))
    assert 5 <= minutes <= 20
    assert np.delete(np.subtract(TARGETS, end), 1) == pytest.approx(0.0, abs=0.5)


def test_a_falling_zone_follows_its_differential_equation() -> None:
    """Against scipy, neighbors held."""
    dead = replace(SOUND, heater_power_share=one(1, 0.0, ALL_ONE))

    def rate(_t: float, zone: np.ndarray) -> np.ndarray:
        return -(LOSS_W_K * (zone - HALL_C) + 2 * NEIGHBOR_W_K * (zone - 195.0)) / STEEL_J_K

    exact = solve_ivp(rate, (0.0, 600.0), [195.0], rtol=1e-8)
    assert after(dead, 10.0)[1] == pytest.approx(float(exact.y[0, -1]), abs=0.5)


def test_half_a_band_is_enough_or_not_by_its_reserve() -> None:
    """A band gives 1.6 of what its zone needs: two thirds of it still hold the setpoint, half does not."""
    assert 2 / 3 * RESERVE > 1.0 > 0.5 * RESERVE
    enough, short = (
        after(replace(SOUND, heater_power_share=one(1, share, ALL_ONE)), 120.0)[1] for share in (2 / 3, 0.5)
    )
    assert enough == pytest.approx(195.0, abs=0.1)
    assert short < 190.0


def test_a_contactor_stuck_on_climbs_past_its_setpoint_and_stops_where_heat_balances() -> None:
    stuck = replace(SOUND, heater_least_duty=one(1, 1.0, ALL_ZERO))
    early, late, later = (after(stuck, minutes)[1] for minutes in (5.0, 60.0, 120.0))
    assert 195.0 < early < late
    assert 10.0 < late - 195.0 < 40.0
    assert later == pytest.approx(late, abs=0.5)


def test_a_thermocouple_that_reads_low_has_its_zone_overheated() -> None:
    """The steel ends as much too hot as the reading is too low."""
    loose = replace(SOUND, thermocouple_error_k=one(2, -15.0, ALL_ZERO))
    assert after(loose, 90.0)[2] == pytest.approx(215.0, abs=0.2)


def test_an_hour_in_one_step_or_in_sixty_is_the_same() -> None:
    dead = replace(SOUND, heater_power_share=one(0, 0.0, ALL_ONE))
    zones = TARGETS
    for _ in range(60):
        zones = barrel_after(zones, TARGETS, dead, elapsed_s=60.0)
    assert zones == pytest.approx(after(dead, 60.0), abs=1e-9)


def tank(start_c: float, *, chiller_share: float, heat_w: float, minutes: float) -> float:
    machine, tank_c = post(1).setup.machine, start_c
    for _ in range(round(minutes)):
        tank_c = tank_after(
            tank_c,
            machine,
            replace(SOUND, chiller_share=chiller_share),
            setpoint_c=20.0,
            ambient_c=20.0,
            heat_w=heat_w,
            elapsed_s=60.0,
        )
    return tank_c


def test_a_sound_chiller_holds_its_setpoint_and_a_dead_one_lets_the_tank_warm_by_its_heat() -> None:
    """Heat over heat capacity, as the tank has no other way out while it is at the hall's temperature."""
    assert tank(20.0, chiller_share=1.0, heat_w=365.0, minutes=60) == pytest.approx(20.0, abs=1e-6)
    dead = tank(20.0, chiller_share=0.0, heat_w=365.0, minutes=20)
    assert dead == pytest.approx(20.0 + 730.0 * 1200 / 170_000, rel=0.03)


def test_a_tired_chiller_warms_only_beyond_what_it_can_take() -> None:
    assert tank(20.0, chiller_share=0.7, heat_w=365.0, minutes=60) == pytest.approx(20.0, abs=1e-6)
    assert tank(20.0, chiller_share=0.5, heat_w=365.0, minutes=60) > 21.0


def test_a_repaired_chiller_brings_the_tank_back() -> None:
    assert tank(30.0, chiller_share=1.0, heat_w=365.0, minutes=60) == pytest.approx(20.0, abs=0.1)
