"""Whatever is set and whatever is wrong, a shot has numbers that a press could report."""

import math
from dataclasses import replace

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from simulator.disc import set_disc
from simulator.floor import post
from simulator.health import HEATERS, SOUND
from simulator.press import cold_start, shoot, stand_still

SHARE = st.floats(0.0, 1.0)
PER_ZONE = st.tuples(*[SHARE] * HEATERS)
WRONG = st.fixed_dictionaries(
    {},
    optional={
        "viscosity_factor": st.floats(0.3, 3.0),
        "shrink_factor": st.floats(0.3, 3.0),
        "moisture_percent": st.floats(0.0, 0.5),
        "mix_spread": st.floats(0.0, 10.0),
        "slip_factor": st.floats(0.5, 2.0),
        "heater_power_share": PER_ZONE,
        "heater_least_duty": PER_ZONE,
        "thermocouple_error_k": st.tuples(*[st.floats(-40.0, 40.0)] * HEATERS),
        "ring_leak_mm": st.floats(0.0, 40.0),
        "ring_miss_rate": SHARE,
        "nozzle_leak_cm3": st.floats(0.0, 30.0),
        "screw_wear": SHARE,
        "back_pressure_share": st.floats(0.0, 2.0),
        "feed_share": SHARE,
        "pump_share": st.floats(0.05, 1.0),
        "oil_c": st.floats(20.0, 80.0),
        "core_flow_share": SHARE,
        "cavity_flow_share": SHARE,
        "core_supply_k": st.floats(-5.0, 15.0),
        "chiller_share": SHARE,
        "vent_share": SHARE,
        "clamp_share": SHARE,
        "parting_gap_mm": st.floats(0.0, 0.3),
        "cut_s": st.floats(0.0, 30.0),
        "pace_spread": SHARE,
        "pace_factor": st.floats(0.3, 10.0),
        "robot_delay_s": st.floats(0.0, 60.0),
    },
)
SET = st.fixed_dictionaries(
    {},
    optional={
        "injection_speed_mm_s": st.floats(5.0, 100.0),
        "injection_pressure_limit_mpa": st.floats(20.0, 200.0),
        "switchover_position_mm": st.floats(3.0, 30.0),
        "hold_pressure_mpa": st.floats(5.0, 90.0),
        "hold_time_s": st.floats(0.5, 30.0),
        "cooling_time_s": st.floats(5.0, 300.0),
        "screw_start_position_mm": st.floats(50.0, 120.0),
        "coolant_supply_temperature_c": st.floats(5.0, 60.0),
    },
)


@settings(max_examples=120, deadline=None, derandomize=True)
@given(wrong=WRONG, changed=SET, number=st.integers(1, 6), idle_s=st.sampled_from([0.0, 90.0, 40_000.0]))
def test_no_fault_and_no_setting_breaks_the_physics(wrong, changed, number: int, idle_s: float) -> None:
    place = post(number).setup
    setup = replace(place, settings=replace(place.settings, **changed))
    health, rng = replace(SOUND, **wrong), np.random.default_rng(1)
    state = cold_start(setup, rng)
    for shot in range(12):
        if shot == 6 and idle_s:
            state = stand_still(state, setup, idle_s=idle_s)
        state, outcome = shoot(state, setup, health, ambient_c=23.0, rng=rng)
        disc = set_disc(outcome.molding, setup.mold, setup.blend, lay_mm=0.0, spread_mm=0.0)
        assert all(math.isfinite(value) for value in outcome.values.values())
        assert all(math.isfinite(value) for value in (disc.dome_24h_mm, disc.diameter_24h_mm))
        assert 0.0 < outcome.values["part_weight"] < 250.0
        assert min(outcome.values[key] for key in ("cushion", "switchover_position")) >= 0.0
        assert 0.0 < outcome.values["injection_time"] <= 1.1 * setup.machine.injection_timeout_s
        assert outcome.values["peak_melt_pressure"] <= 1.05 * setup.machine.greatest_melt_pressure_mpa
        assert 0.0 < outcome.values["recovery_time"] <= setup.machine.recovery_timeout_s
        assert outcome.cycle_time_s > 5.0
        assert 180.0 < disc.diameter_24h_mm < 225.0
