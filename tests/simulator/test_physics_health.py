"""Each thing that can be wrong moves what the trade's fault tables say (common practice, no source).

Compared are means, or spreads, of a settled press with and without it, under the same random draws.
"""

from collections.abc import Callable
from dataclasses import fields, replace

import numpy as np
import pytest

from simulator.disc import set_disc
from simulator.floor import post
from simulator.health import ALL_ONE, ALL_ZERO, SOUND, Health, PerZone
from simulator.press import cold_start, shoot, stand_still

Column = dict[str, float]
HOURS_SHOTS, KEPT = 120, 60


def settled_shots(number: int, health: Health, **settings: float) -> dict[str, np.ndarray]:
    place = post(number).setup
    setup = replace(place, settings=replace(place.settings, **settings))
    rng = np.random.default_rng(17)
    state, rows = cold_start(setup, rng), []
    for _ in range(HOURS_SHOTS):
        state, outcome = shoot(state, setup, replace(health), ambient_c=23.0, rng=rng)
        disc = set_disc(outcome.molding, setup.mold, setup.blend, lay_mm=0.0, spread_mm=0.0)
        rows.append({**outcome.values, "dome": disc.dome_24h_mm})
    return {key: np.array([row[key] for row in rows[-KEPT:]]) for key in rows[0]}


@pytest.fixture(scope="module")
def usual() -> dict[str, np.ndarray]:
    return settled_shots(1, replace(SOUND, ring_miss_rate=0.0))


@pytest.fixture
def moved(usual: dict[str, np.ndarray]) -> Callable[..., Column]:
    """Change of the means by something wrong."""

    def by(**wrong: object) -> Column:
        ill = settled_shots(1, replace(SOUND, **{"ring_miss_rate": 0.0, **wrong}))
        return {key: float(ill[key].mean() - usual[key].mean()) for key in usual}

    return by


@pytest.fixture
def spread(usual: dict[str, np.ndarray]) -> Callable[..., Column]:
    """Standard deviation with something wrong, over the usual one."""

    def by(**wrong: object) -> Column:
        ill = settled_shots(1, replace(SOUND, **{"ring_miss_rate": 0.0, **wrong}))
        keys = [key for key in usual if usual[key].std() > 0]
        return {key: float(ill[key].std() / usual[key].std()) for key in keys}

    return by


def one(zone: int, value: float, others: PerZone) -> PerZone:
    return tuple(value if i == zone else other for i, other in enumerate(others))


def test_stiffer_melt(moved) -> None:
    by = moved(viscosity_factor=1.1)
    assert by["peak_melt_pressure"] > 4.0
    assert by["recovery_time"] > 0.4
    assert by["cushion"] > 0.02
    assert by["part_weight"] < -0.05
    assert abs(by["injection_time"]) < 0.005


def test_stiffer_melt_against_the_limit_shows_in_fill_time_instead() -> None:
    limit = {"injection_pressure_limit_mpa": 60.0}
    sound, stiff = (
        settled_shots(1, replace(SOUND, viscosity_factor=factor), **limit) for factor in (1.0, 1.05)
    )
    assert stiff["peak_melt_pressure"].mean() == pytest.approx(60.0, abs=0.1)
    assert stiff["injection_time"].mean() > 1.08 * sound["injection_time"].mean()
    assert stiff["dome"].mean() < sound["dome"].mean()


def test_wet_urethane(moved) -> None:
    by = moved(moisture_percent=0.08)
    assert by["peak_melt_pressure"] < -5.0
    assert by["recovery_time"] < -0.5
    assert by["cushion"] < -0.1
    assert by["part_weight"] < -0.1
    assert by["dome"] > 0.05


def test_a_polyolefin_does_not_mind_water() -> None:
    dry, wet = (settled_shots(4, replace(SOUND, moisture_percent=p)) for p in (0.02, 0.3))
    assert all((dry[key] == wet[key]).all() for key in dry)


def test_uneven_regrind_spreads_everything(spread) -> None:
    by = spread(mix_spread=4.0)
    assert by["peak_melt_pressure"] > 2.0
    assert min(by[key] for key in ("cushion", "recovery_time", "part_weight", "dome")) > 1.2


def test_slippery_pellets(moved) -> None:
    by = moved(slip_factor=1.1)
    assert by["recovery_time"] > 1.0
    assert abs(by["peak_melt_pressure"]) < 0.1


def test_an_open_band(moved) -> None:
    by = moved(heater_power_share=one(1, 0.0, ALL_ONE))
    assert by["barrel_temperature.2"] < -20.0
    assert abs(by["barrel_temperature.1"]) < 1.0
    assert by["peak_melt_pressure"] > 5.0
    assert by["recovery_time"] > 0.5
    assert by["cushion"] > 0.1
    assert by["dome"] < -0.1


def test_a_loose_thermocouple(moved) -> None:
    """Reads at its setpoint while the melt gets hot."""
    by = moved(thermocouple_error_k=one(2, -20.0, ALL_ZERO))
    assert abs(by["barrel_temperature.3"]) < 0.3
    assert by["peak_melt_pressure"] < -5.0
    assert by["recovery_time"] < -0.3
    assert by["cushion"] < -0.1
    assert by["dome"] > 0.03


def test_a_contactor_stuck_on(moved) -> None:
    by = moved(heater_least_duty=one(1, 1.0, ALL_ZERO))
    assert by["barrel_temperature.2"] > 10.0
    assert by["peak_melt_pressure"] < -5.0
    assert by["recovery_time"] < -0.3
    assert by["dome"] > 0.03


def test_a_leaking_ring(moved) -> None:
    by = moved(ring_leak_mm=2.0)
    assert by["cushion"] < -1.5
    assert by["peak_melt_pressure"] < -0.1
    assert by["part_weight"] < -0.1
    assert by["dome"] < -0.02
    assert abs(by["injection_time"]) < 0.005


def test_a_ring_that_leaks_more_than_the_cushion_bottoms_the_screw(moved, usual) -> None:
    by = moved(ring_leak_mm=9.0)
    assert by["cushion"] == pytest.approx(-usual["cushion"].mean())
    assert by["hold_melt_pressure"] < -15.0
    assert by["part_weight"] < -2.0
    assert by["dome"] < -0.2


def test_a_leaking_nozzle(moved) -> None:
    by = moved(nozzle_leak_cm3=3.0)
    assert by["cushion"] < -1.0
    assert by["peak_melt_pressure"] < -0.1
    assert by["nozzle_temperature"] < -1.0
    assert by["part_weight"] < -0.1
    assert by["dome"] < -0.02


def test_a_worn_screw(moved, spread) -> None:
    by, wider = moved(screw_wear=0.5), spread(screw_wear=0.5)
    assert by["recovery_time"] > 2.0
    assert by["peak_melt_pressure"] < -0.5
    assert by["cushion"] < -0.2
    assert wider["recovery_time"] > 1.5
    assert wider["cushion"] > 1.2


def test_lost_back_pressure(moved, spread) -> None:
    by, wider = moved(back_pressure_share=0.1), spread(back_pressure_share=0.1)
    assert by["back_pressure"] == pytest.approx(-9.0, abs=0.1)
    assert by["recovery_time"] < -1.0
    assert by["peak_melt_pressure"] < -1.0
    assert by["cushion"] < -0.5
    assert wider["cushion"] > 2.0
    assert wider["part_weight"] > 1.05


def test_a_bridged_throat(moved, spread) -> None:
    by, wider = moved(feed_share=0.4), spread(feed_share=0.4)
    assert by["recovery_time"] > 10.0
    assert by["cycle_time"] > 1.0
    assert by["peak_melt_pressure"] < -2.0
    assert by["cushion"] < -1.0
    assert by["part_weight"] < -0.2
    assert wider["cushion"] > 3.0


def test_an_empty_hopper_ends_in_timeouts_and_short_shots(moved, usual) -> None:
    by = moved(feed_share=0.05)
    assert usual["recovery_time"].mean() + by["recovery_time"] == post(1).setup.machine.recovery_timeout_s
    assert by["screw_start_position"] < -20.0
    assert by["part_weight"] < -30.0


@pytest.mark.parametrize("wrong", [{"pump_share": 0.8}, {"oil_c": 75.0}], ids=["worn pump", "hot oil"])
def test_weak_hydraulics(moved, wrong) -> None:
    by = moved(**wrong)
    assert by["injection_time"] > 0.05
    assert by["peak_melt_pressure"] < -0.5
    assert by["recovery_time"] > 0.5
    assert by["cycle_time"] > 0.3


def test_a_pump_too_weak_for_the_fill_limits_it_below_its_setting() -> None:
    ill = settled_shots(1, replace(SOUND, pump_share=0.4))
    assert ill["peak_melt_pressure"].mean() == pytest.approx(0.4 * 160.0, abs=0.2)
    assert ill["peak_melt_pressure"].std() < 0.1
    assert ill["injection_time"].mean() > 2.5


@pytest.mark.parametrize(("half", "sign"), [("core", 1), ("cavity", -1)])
@pytest.mark.parametrize("way", ["flow", "supply"])
def test_one_warm_half(moved, half: str, sign: int, way: str) -> None:
    wrong = {f"{half}_flow_share": 0.5} if way == "flow" else {f"{half}_supply_k": 2.5}
    by = moved(**wrong)
    other = "cavity" if half == "core" else "core"
    difference = by[f"mold_{half}_temperature"] - by[f"mold_{other}_temperature"]
    assert difference > 1.5
    assert 0.1 * difference < sign * by["dome"] < 0.3 * difference
    assert abs(by["cycle_time"]) < 0.05
    if way == "flow":
        assert by["coolant_flow"] < -1.5
        assert by["coolant_return_temperature"] - by["coolant_supply_temperature"] > 0.2


def test_a_failing_chiller(moved) -> None:
    by = moved(chiller_share=0.3)
    assert by["coolant_supply_temperature"] > 3.0
    assert by["mold_core_temperature"] > 3.0
    assert by["mold_cavity_temperature"] > 3.0
    assert by["dome"] > 0.03
    assert abs(by["cycle_time"]) < 0.05


def test_a_blocked_vent(moved) -> None:
    by = moved(vent_share=0.2)
    assert by["peak_melt_pressure"] > 2.0
    assert by["cushion"] > 0.05
    assert by["part_weight"] < -0.05
    near = {"injection_pressure_limit_mpa": 78.5}
    free, blocked = (settled_shots(1, replace(SOUND, vent_share=share), **near) for share in (1.0, 0.2))
    assert blocked["injection_time"].mean() > 1.003 * free["injection_time"].mean()


@pytest.mark.parametrize("wrong", [{"clamp_share": 0.6}, {"parting_gap_mm": 0.05}], ids=["weak", "dirty"])
def test_a_mold_that_opens_flashes(moved, wrong) -> None:
    by = moved(**wrong)
    assert by["part_weight"] > 0.3
    assert by["cushion"] < -0.1
    assert by["dome"] < 0.0
    assert ("clamp_share" in wrong) == (by["clamp_force"] < -100)


def test_a_gate_opened_early_and_a_robot_that_is_late(moved) -> None:
    early, late = moved(cut_s=8.0, pace_spread=0.25), moved(robot_delay_s=5.0)
    assert early["cycle_time"] < -4.0
    assert early["mold_core_temperature"] > 0.3
    assert early["dome"] > 0.08
    assert late["cycle_time"] > 3.0
    assert late["mold_core_temperature"] < -0.2
    assert late["dome"] < -0.05


def test_a_slow_operator(moved, spread) -> None:
    by, wider = moved(pace_factor=2.0, pace_spread=0.4), spread(pace_factor=2.0, pace_spread=0.4)
    assert by["cycle_time"] > 5.0
    assert by["mold_core_temperature"] < -0.5
    assert wider["cycle_time"] > 5.0
    assert wider["mold_core_temperature"] > 1.5


def test_a_switchover_moved_forward_fills_more_and_leaves_less_cushion() -> None:
    usual, later = (settled_shots(1, SOUND, switchover_position_mm=mm) for mm in (9.5, 7.5))
    assert later["injection_time"].mean() > usual["injection_time"].mean() + 0.03
    assert later["cushion"].mean() < usual["cushion"].mean() - 0.02
    assert later["part_weight"].mean() > usual["part_weight"].mean()


def test_a_hold_shorter_than_the_gates_freezing_loses_weight() -> None:
    usual, longer, cut = (settled_shots(1, SOUND, hold_time_s=s) for s in (10.0, 14.0, 3.0))
    assert longer["part_weight"].mean() == pytest.approx(usual["part_weight"].mean(), abs=0.1)
    assert cut["part_weight"].mean() < usual["part_weight"].mean() - 1.0


def test_after_a_stop_values_return_over_ten_to_thirty_shots() -> None:
    setup, rng = post(1).setup, np.random.default_rng(3)
    state = cold_start(setup, rng)
    for _ in range(60):
        state, _ = shoot(state, setup, SOUND, ambient_c=23.0, rng=rng)
    state = stand_still(state, setup, idle_s=1800.0)
    rows = []
    for _ in range(90):
        state, outcome = shoot(state, setup, SOUND, ambient_c=23.0, rng=rng)
        rows.append([outcome.values[k] for k in ("peak_melt_pressure", "mold_core_temperature", "cushion")])
    first, end = np.array(rows[0]), np.mean(rows[-40:], axis=0)
    assert (first < end).all()
    third = np.mean(rows[28:34], axis=0)
    assert np.abs(third - end) == pytest.approx(0.0, abs=0.9)


@pytest.mark.parametrize("name", [field.name for field in fields(Health)])
def test_every_field_of_health_moves_something(name: str, usual: dict[str, np.ndarray]) -> None:
    """Nothing in the table is dead."""
    worse: dict[str, object] = {
        "heater_power_share": one(0, 0.0, ALL_ONE),
        "heater_least_duty": one(0, 1.0, ALL_ZERO),
        "thermocouple_error_k": one(0, -10.0, ALL_ZERO),
        "ring_miss_rate": 0.5,
        "moisture_percent": 0.1,
        "oil_c": 70.0,
    }
    neutral = getattr(SOUND, name)
    value = worse.get(name, 0.5 if neutral == 1.0 else 1.0)
    ill = settled_shots(1, replace(SOUND, **{"ring_miss_rate": 0.0, name: value}))
    assert any((ill[key] != usual[key]).any() for key in usual)
