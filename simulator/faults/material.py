"""Faults of what is in the hopper: lot, moisture, regrind, color.

What is poured in reaches the screw with the hopper's lag: some of the older pellets lie before it, and on the
way down the two mix. Sizes are assumed within what is common on the floor (common practice, no source).
"""

from dataclasses import replace

import numpy as np

from simulator.faults.case import Case
from simulator.faults.draw import MINUTE_S, between, chance, one_of, spells, stretched
from simulator.floor import Post
from simulator.usual import usual

COLORS = ("orange", "white", "blue", "yellow", "gray", "green", "pink")


def lot_change(rng: np.random.Generator, place: Post) -> Case:
    """A stiffer lot of the blend, which shrinks more or less than the one before."""
    return _lot(rng, place, stiffer=between(rng, 0.05, 0.14))


def lot_change_at_limit(rng: np.random.Generator, place: Post) -> Case:
    """The same where fill needs all the pressure that is set: fill time takes it up, amplified."""
    return _lot(rng, place, stiffer=between(rng, 0.05, 0.15))


def near_the_limit(rng: np.random.Generator, place: Post) -> Post:
    """The press with a pressure limit set no higher than its usual fill needs."""
    needed_mpa = usual(place.setup).peak_melt_pressure_mpa
    limit_mpa = round(needed_mpa * between(rng, 0.97, 1.0), 1)
    settings = replace(place.setup.settings, injection_pressure_limit_mpa=limit_mpa)
    return replace(place, setup=replace(place.setup, settings=settings))


def wet_resin(rng: np.random.Generator, place: Post) -> Case:
    """The dryer fails or the hopper stood open: urethane gets thinner, foams, and shrinks more."""
    del place
    return Case(
        health={"moisture_percent": between(rng, 0.04, 0.10)},
        growth="settling",
        lag_s=between(rng, 0.0, 10 * MINUTE_S),
        rise_s=stretched(rng, 5 * MINUTE_S, 25 * MINUTE_S),
        fades=True,
    )


def uneven_regrind(rng: np.random.Generator, place: Post) -> Case:
    """Regrind or foreign pellets in changing parts: everything spreads, at times only by the bag."""
    del place
    by_the_bag = chance(rng, 0.4)
    return Case(
        health={"mix_spread": between(rng, 2.5, 5.0), "viscosity_factor": between(rng, 0.97, 1.03)},
        growth="settling",
        lag_s=between(rng, 2 * MINUTE_S, 20 * MINUTE_S),
        rise_s=between(rng, 2 * MINUTE_S, 10 * MINUTE_S),
        fades=True,
        spells=spells(rng, at_work_s=(10 * MINUTE_S, 40 * MINUTE_S), between_s=(10 * MINUTE_S, 60 * MINUTE_S))
        if by_the_bag
        else (),
        variant="by the bag" if by_the_bag else "all the time",
    )


def color_change(rng: np.random.Generator, place: Post) -> Case:
    """Another masterbatch, announced: pellets slide in other ways, flow and crystals differ a little."""
    others = [color for color in COLORS if color != place.color]
    way = one_of(rng, (-1.0, 1.0))
    return Case(
        health={
            "viscosity_factor": 1 + way * between(rng, 0.02, 0.05),
            "slip_factor": 1 + one_of(rng, (-1.0, 1.0)) * between(rng, 0.03, 0.12),
            "shrink_factor": 1 + one_of(rng, (-1.0, 1.0)) * between(rng, 0.03, 0.10),
        },
        growth="settling",
        lag_s=between(rng, 2 * MINUTE_S, 15 * MINUTE_S),
        rise_s=between(rng, 2 * MINUTE_S, 8 * MINUTE_S),
        fades=True,
        color=one_of(rng, others),
        variant="stiffer" if way > 0 else "thinner",
    )


def _lot(rng: np.random.Generator, place: Post, *, stiffer: float) -> Case:
    way = 1.0 if chance(rng, 0.65) else -1.0
    return Case(
        health={"viscosity_factor": 1 + stiffer, "shrink_factor": 1 + way * between(rng, 0.06, 0.22)},
        growth="settling",
        lag_s=stretched(rng, 4 * MINUTE_S, 40 * MINUTE_S),
        rise_s=stretched(rng, 2 * MINUTE_S, 15 * MINUTE_S),
        fades=True,
        lot=place.other_lot,
        announced=chance(rng, 0.7),
        variant="shrinks more" if way > 0 else "shrinks less",
    )
