"""What a settled, sound press makes on average: what faults and tolerances count from."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from simulator.disc import set_disc
from simulator.hall import HALL_C
from simulator.health import SOUND
from simulator.press import cold_start, shoot
from simulator.stages import Setup

SETTLING, SHOTS = 60, 60


@dataclass(frozen=True, slots=True, kw_only=True)
class Usual:
    """Means of a settled press."""

    cycle_time_s: float
    injection_time_s: float
    peak_melt_pressure_mpa: float
    cushion_mm: float
    mold_open_time_s: float
    weight_g: float
    dome_mm: float


@lru_cache(maxsize=64)
def usual(setup: Setup) -> Usual:
    """Settle a sound press and average its shots; the same setup always gives the same numbers."""
    rng = np.random.default_rng(1)
    state, rows = cold_start(setup, rng), []
    for number in range(SETTLING + SHOTS):
        state, outcome = shoot(state, setup, SOUND, ambient_c=HALL_C, rng=rng)
        if number >= SETTLING and not outcome.ring_missed:
            disc = set_disc(outcome.molding, setup.mold, setup.blend, lay_mm=0.0, spread_mm=0.0)
            rows.append({**outcome.values, "dome": disc.dome_24h_mm})
    means = {key: float(np.mean([row[key] for row in rows])) for key in rows[0]}
    return Usual(
        cycle_time_s=means["cycle_time"],
        injection_time_s=means["injection_time"],
        peak_melt_pressure_mpa=means["peak_melt_pressure"],
        cushion_mm=means["cushion"],
        mold_open_time_s=means["mold_open_time"],
        weight_g=means["part_weight"],
        dome_mm=means["dome"],
    )
