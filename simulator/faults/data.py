"""Faults of sensors, units, counters, clocks and messages: the shot is sound, its record is not.

Sizes are assumed within what is common on the floor (common practice, no source).
"""

import numpy as np

from simulator.faults.case import Case
from simulator.faults.draw import HOUR_S, MINUTE_S, between, chance, one_of, spells, stretched
from simulator.faults.garble import Garble
from simulator.floor import Post

PRESSURES = ("peak_melt_pressure", "switchover_melt_pressure", "hold_melt_pressure", "back_pressure")
BARREL = ("barrel_temperature.1", "barrel_temperature.2", "barrel_temperature.3", "nozzle_temperature")
MOLD = ("mold_core_temperature", "mold_cavity_temperature")
SENSORS = (
    *BARREL,
    *MOLD,
    "coolant_return_temperature",
    "coolant_flow",
    "peak_melt_pressure",
    "cushion",
    "clamp_force",
    "part_weight",
)
# Which values, and by what: kpsi for MPa, psi for bar, bar for MPa.
FACTORS = (0.145, 14.5, 10.0)
COARSE_STEPS = {
    "injection_time": 0.1,
    "cushion": 0.5,
    "peak_melt_pressure": 2.0,
    "recovery_time": 1.0,
    "mold_core_temperature": 1.0,
    "mold_cavity_temperature": 1.0,
    "coolant_flow": 0.5,
}


def stuck_sensor(rng: np.random.Generator, place: Post) -> Case:
    """A reading stays what it was; with a loose plug, now and then only."""
    del place
    key, loose = one_of(rng, SENSORS), chance(rng, 0.3)
    return Case(
        garble=Garble("stuck", keys=(key,)),
        lag_s=between(rng, 0.0, MINUTE_S),
        spells=_loose(rng) if loose else (),
        variant=f"{key}, {'now and then' if loose else 'for good'}",
    )


def dead_sensor(rng: np.random.Generator, place: Post) -> Case:
    """A reading is zero; with a loose plug, now and then only."""
    del place
    key, loose = one_of(rng, SENSORS), chance(rng, 0.4)
    return Case(
        garble=Garble("zero", keys=(key,)),
        lag_s=between(rng, 0.0, MINUTE_S),
        spells=_loose(rng) if loose else (),
        variant=f"{key}, {'now and then' if loose else 'for good'}",
    )


def coarse_sensor(rng: np.random.Generator, place: Post) -> Case:
    """A reading comes in coarse steps, as after a change at the gateway."""
    del place
    key = one_of(rng, tuple(COARSE_STEPS))
    step = COARSE_STEPS[key] * one_of(rng, (1.0, 2.0))
    return Case(
        garble=Garble("coarse", keys=(key,), size=step),
        lag_s=between(rng, 0.0, MINUTE_S),
        variant=f"{key} in steps of {step:g}",
    )


def wrong_unit(rng: np.random.Generator, place: Post) -> Case:
    """Values come in another unit, and nobody says so."""
    del place
    lag_s = between(rng, 0.0, MINUTE_S)
    if chance(rng, 0.3):
        keys = one_of(rng, (BARREL, MOLD))
        return Case(
            garble=Garble("fahrenheit", keys=keys), lag_s=lag_s, variant=f"degF, {len(keys)} temperatures"
        )
    keys, factor = one_of(rng, (PRESSURES, PRESSURES[:1], PRESSURES[3:])), one_of(rng, FACTORS)
    garble = Garble("scaled", keys=keys, size=factor)
    return Case(garble=garble, lag_s=lag_s, variant=f"x{factor:g}, {len(keys)} pressures")


def counter_reset(rng: np.random.Generator, place: Post) -> Case:
    """The press's shot counter begins anew."""
    del place
    return Case(
        garble=Garble("counter", size=float(rng.integers(0, 2))), lag_s=between(rng, 0.0, 10 * MINUTE_S)
    )


def duplicated_messages(rng: np.random.Generator, place: Post) -> Case:
    """Messages come twice, the second at once or some time later."""
    del place
    at_once = chance(rng, 0.5)
    garble = Garble(
        "twice",
        chance=stretched(rng, 0.05, 0.6),
        size=0.0 if at_once else stretched(rng, 5.0, 20 * MINUTE_S),
    )
    lag_s = between(rng, 0.0, MINUTE_S)
    return Case(garble=garble, lag_s=lag_s, variant="at once" if at_once else "later")


def late_messages(rng: np.random.Generator, place: Post) -> Case:
    """Single messages come late; or a gateway that lost its connection hands in all of them afterwards."""
    del place
    if chance(rng, 0.5):
        return Case(
            garble=Garble("late", chance=1.0), spells=_outages(rng), lag_s=between(rng, 0.0, MINUTE_S),
            variant="outages, handed in",
        )  # fmt: skip
    garble = Garble("late", chance=stretched(rng, 0.04, 0.4), size=stretched(rng, 2 * MINUTE_S, HOUR_S))
    return Case(garble=garble, lag_s=between(rng, 0.0, MINUTE_S), variant="stragglers")


def lost_messages(rng: np.random.Generator, place: Post) -> Case:
    """Single messages never come; or none does while the connection is lost."""
    del place
    if chance(rng, 0.5):
        return Case(
            garble=Garble("lost", chance=1.0), spells=_outages(rng), lag_s=between(rng, 0.0, MINUTE_S),
            variant="outages",
        )  # fmt: skip
    garble = Garble("lost", chance=stretched(rng, 0.02, 0.3))
    return Case(garble=garble, lag_s=between(rng, 0.0, MINUTE_S), variant="single ones")


def clock_step(rng: np.random.Generator, place: Post) -> Case:
    """The gateway's clock jumps: by an hour, as when summer time is mistaken, or by some minutes."""
    del place
    way = one_of(rng, (-1.0, 1.0))
    step_s = HOUR_S if chance(rng, 0.4) else round(stretched(rng, 1.5 * MINUTE_S, 40 * MINUTE_S))
    return Case(
        garble=Garble("clock", size=way * step_s),
        lag_s=between(rng, 0.0, 10 * MINUTE_S),
        variant="ahead" if way > 0 else "back",
    )


def _loose(rng: np.random.Generator) -> tuple[float, ...]:
    return spells(rng, at_work_s=(2 * MINUTE_S, 20 * MINUTE_S), between_s=(3 * MINUTE_S, 40 * MINUTE_S))


def _outages(rng: np.random.Generator) -> tuple[float, ...]:
    return spells(rng, at_work_s=(5 * MINUTE_S, HOUR_S), between_s=(30 * MINUTE_S, 2 * HOUR_S))
