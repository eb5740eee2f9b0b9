"""Faults between hopper and gate: check ring, nozzle, back pressure, feed, screw.

What takes weeks or months on the floor is pressed into hours here, so that a story of a few days shows it.
Sizes are assumed within what is common on the floor (common practice, no source).
"""

import numpy as np

from simulator.faults.case import Case
from simulator.faults.draw import HOUR_S, MINUTE_S, between, chance, spells, stretched
from simulator.floor import Post
from simulator.health import SOUND
from simulator.usual import usual


def worn_check_ring(rng: np.random.Generator, place: Post) -> Case:
    """Melt leaks back past the ring, more and more, and at times the ring stays open."""
    del place
    return Case(
        health={
            "ring_leak_mm": between(rng, 1.2, 3.5),
            "ring_miss_rate": SOUND.ring_miss_rate + stretched(rng, 0.001, 0.02),
        },
        growth="ramp",
        rise_s=stretched(rng, HOUR_S, 6 * HOUR_S),
    )


def check_ring_not_seating(rng: np.random.Generator, place: Post) -> Case:
    """Dirt under the ring: in single shots it does not close at all."""
    del place
    comes_and_goes = chance(rng, 0.5)
    return Case(
        health={"ring_miss_rate": stretched(rng, 0.008, 0.05)},
        spells=spells(rng, at_work_s=(20 * MINUTE_S, 2 * HOUR_S), between_s=(10 * MINUTE_S, HOUR_S))
        if comes_and_goes
        else (),
        variant="comes and goes" if comes_and_goes else "all the time",
    )


def bottomed_screw(rng: np.random.Generator, place: Post) -> Case:
    """The screw runs out of melt before hold is over: a broken ring lets it by, or a nozzle lets it out."""
    missing_mm = usual(place.setup).cushion_mm + between(rng, 1.0, 4.0)
    if chance(rng, 0.5):
        return Case(health={"ring_leak_mm": missing_mm}, variant="broken ring")
    missing_cm3 = missing_mm / 10 * place.setup.machine.screw_area_m2 * 1e4
    return Case(
        health={"nozzle_leak_cm3": missing_cm3},
        growth="settling",
        rise_s=between(rng, 2 * MINUTE_S, 8 * MINUTE_S),
        variant="nozzle off its seat",
    )


def leaking_nozzle(rng: np.random.Generator, place: Post) -> Case:
    """Melt comes out between nozzle and sprue, a little more with every shot."""
    del place
    return Case(
        health={"nozzle_leak_cm3": between(rng, 1.5, 6.0)},
        growth="ramp",
        rise_s=stretched(rng, 20 * MINUTE_S, 3 * HOUR_S),
    )


def back_pressure_lost(rng: np.random.Generator, place: Post) -> Case:
    """Not put back after a purge, which the setpoints show; or a valve that sticks, which they do not."""
    set_mpa = place.setup.settings.back_pressure_mpa
    share = between(rng, 0.0, 0.35)
    if chance(rng, 0.5):
        return Case(settings={"back_pressure_mpa": round(share * set_mpa, 1)}, variant="setting")
    return Case(
        health={"back_pressure_share": share},
        growth="settling",
        rise_s=between(rng, 0.0, 10 * MINUTE_S),
        variant="valve",
    )


def bridged_feed(rng: np.random.Generator, place: Post) -> Case:
    """Pellets bridge in the throat now and then; or the hopper runs empty and stays so."""
    del place
    if chance(rng, 0.25):
        return Case(
            health={"feed_share": between(rng, 0.02, 0.15)},
            growth="ramp",
            rise_s=between(rng, 5 * MINUTE_S, 15 * MINUTE_S),
            variant="empty hopper",
        )
    return Case(
        health={"feed_share": between(rng, 0.25, 0.6)},
        spells=spells(rng, at_work_s=(90.0, 8 * MINUTE_S), between_s=(2 * MINUTE_S, 20 * MINUTE_S)),
        variant="bridge",
    )


def worn_screw(rng: np.random.Generator, place: Post) -> Case:
    """Screw and barrel worn: recovery takes longer and is uneven, less melt is packed before the screw."""
    del place
    return Case(
        health={"screw_wear": between(rng, 0.25, 0.8)},
        growth="ramp",
        rise_s=stretched(rng, 3 * HOUR_S, 12 * HOUR_S),
    )
