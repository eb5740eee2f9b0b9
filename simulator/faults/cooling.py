"""Faults of coolant, chiller and hall. Sizes are assumed within what is common on the floor (common practice,
no source)."""

import numpy as np

from simulator.faults.case import Case
from simulator.faults.draw import HOUR_S, MINUTE_S, between, chance, one_of, stretched
from simulator.floor import Post
from simulator.health import USUAL_OIL_C

HALVES = ("core", "cavity")


def blocked_coolant(rng: np.random.Generator, place: Post) -> Case:
    """The manifold clogs or its valve is half shut: both halves get less."""
    del place
    return _throttled(rng, HALVES)


def blocked_coolant_core(rng: np.random.Generator, place: Post) -> Case:
    """A line of the core clogs or is pinched: the core gets warmer than the cavity, dome rises."""
    del place
    return _throttled(rng, ("core",))


def blocked_coolant_cavity(rng: np.random.Generator, place: Post) -> Case:
    """The same in the cavity half: dome falls."""
    del place
    return _throttled(rng, ("cavity",))


def failed_chiller(rng: np.random.Generator, place: Post) -> Case:
    """The chiller takes away less heat than the mold brings: the tank and both halves warm up."""
    del place
    slowly = chance(rng, 0.5)
    return Case(
        health={"chiller_share": between(rng, 0.0, 0.4)},
        growth="ramp" if slowly else "step",
        rise_s=between(rng, 15 * MINUTE_S, 2 * HOUR_S) if slowly else 0.0,
        variant="weakens" if slowly else "trips",
    )


def one_half_warm(rng: np.random.Generator, place: Post) -> Case:
    """One half's circuit is supplied warmer than the other, through a mixed-up or looped hose."""
    del place
    half = one_of(rng, HALVES)
    return Case(
        health={f"{half}_supply_k": between(rng, 1.2, 4.0)},
        growth="settling",
        rise_s=stretched(rng, 2 * MINUTE_S, 30 * MINUTE_S),
        variant=half,
    )


def day_and_night(rng: np.random.Generator, place: Post) -> Case:
    """A hall that swings more than usual over the day, as in a heat wave; ordinary, whatever it moves."""
    del place
    swing_k = between(rng, 2.0, 5.0)
    return Case(
        health={"oil_c": USUAL_OIL_C + 0.8 * swing_k},
        hall_k=swing_k,
        growth="daily",
        rise_s=24 * HOUR_S,
    )


def _throttled(rng: np.random.Generator, halves: tuple[str, ...]) -> Case:
    slowly = chance(rng, 0.6)
    share = between(rng, 0.2, 0.55)
    return Case(
        health={f"{half}_flow_share": share for half in halves},
        growth="settling",
        rise_s=stretched(rng, 10 * MINUTE_S, 2 * HOUR_S) if slowly else between(rng, 0.0, MINUTE_S),
        variant="clogs" if slowly else "shut",
    )
