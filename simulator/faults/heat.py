"""Faults of the barrel's heating, each in one zone; how fast the zone follows is the physics' affair.

Sizes are assumed within what is common on the floor (common practice, no source).
"""

import numpy as np

from simulator.faults.case import Case
from simulator.faults.draw import HOUR_S, MINUTE_S, between, chance, in_zone, spells
from simulator.floor import Post
from simulator.health import ALL_ONE, ALL_ZERO, HEATERS
from simulator.plant import ZONES


def open_heater_band(rng: np.random.Generator, place: Post) -> Case:
    """A band burns out, or one of two of a zone; at times only a loose wire that makes contact again."""
    del place
    zone = int(rng.integers(HEATERS))
    loose = chance(rng, 0.3)
    return Case(
        health={"heater_power_share": in_zone(zone, between(rng, 0.0, 0.35), ALL_ONE)},
        spells=spells(rng, at_work_s=(15 * MINUTE_S, HOUR_S), between_s=(4 * MINUTE_S, 30 * MINUTE_S))
        if loose
        else (),
        variant=f"{_name(zone)}, {'loose wire' if loose else 'burnt out'}",
    )


def loose_thermocouple(rng: np.random.Generator, place: Post) -> Case:
    """It slips out of its well and reads low: the reading comes back to the setpoint, the melt gets hot."""
    del place
    zone = int(rng.integers(ZONES))
    slips = chance(rng, 0.5)
    return Case(
        health={"thermocouple_error_k": in_zone(zone, -between(rng, 10.0, 35.0), ALL_ZERO)},
        growth="settling" if slips else "step",
        rise_s=between(rng, 10 * MINUTE_S, HOUR_S) if slips else 0.0,
        variant=f"{_name(zone)}, {'slips' if slips else 'at once'}",
    )


def stuck_contactor(rng: np.random.Generator, place: Post) -> Case:
    """The switch of a heater welds shut or leaks current: the zone gets hotter than its setpoint."""
    del place
    zone = int(rng.integers(ZONES))
    return Case(
        health={"heater_least_duty": in_zone(zone, between(rng, 0.75, 1.0), ALL_ZERO)},
        variant=_name(zone),
    )


def _name(zone: int) -> str:
    return "nozzle" if zone == ZONES else f"zone {zone + 1}"
