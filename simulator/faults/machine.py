"""Faults of clamp, hydraulics, mold vents and robot.

What takes days or months on the floor is pressed into hours here. Sizes are assumed within what is common on
the floor (common practice, no source).
"""

import numpy as np

from simulator.faults.case import Case
from simulator.faults.draw import HOUR_S, MINUTE_S, between, chance, spells, stretched
from simulator.floor import Post


def open_parting_line(rng: np.random.Generator, place: Post) -> Case:
    """The mold opens under pressure, because the clamp is low, or dirt or damage keeps it open: flash."""
    del place
    if chance(rng, 0.5):
        return Case(
            health={"clamp_share": between(rng, 0.45, 0.65)},
            growth="ramp",
            rise_s=stretched(rng, MINUTE_S, 2 * HOUR_S),
            variant="low clamp",
        )
    return Case(health={"parting_gap_mm": between(rng, 0.02, 0.07)}, variant="dirt")


def weak_hydraulics(rng: np.random.Generator, place: Post) -> Case:
    """Oil runs hot or the pump is worn: it slips, gives less pressure and moves more slowly."""
    del place
    if chance(rng, 0.5):
        return Case(
            health={"oil_c": between(rng, 62.0, 85.0)},
            growth="settling",
            rise_s=stretched(rng, 30 * MINUTE_S, 2 * HOUR_S),
            variant="hot oil",
        )
    return Case(
        health={"pump_share": between(rng, 0.6, 0.85)},
        growth="ramp",
        rise_s=stretched(rng, 2 * HOUR_S, 8 * HOUR_S),
        variant="worn pump",
    )


def blocked_vent(rng: np.random.Generator, place: Post) -> Case:
    """Deposits close the vents: air that cannot get out is pressed together at the end of the way."""
    del place
    return Case(
        health={"vent_share": between(rng, 0.05, 0.4)},
        growth="ramp",
        rise_s=stretched(rng, 2 * HOUR_S, 10 * HOUR_S),
    )


def late_robot(rng: np.random.Generator, place: Post) -> Case:
    """Robot or stripper waits for air or a sensor, with the mold still closed: always, or now and then."""
    del place
    now_and_then = chance(rng, 0.4)
    return Case(
        health={"robot_delay_s": stretched(rng, 2.5, 10.0)},
        spells=spells(rng, at_work_s=(3 * MINUTE_S, 40 * MINUTE_S), between_s=(3 * MINUTE_S, 30 * MINUTE_S))
        if now_and_then
        else (),
        variant="now and then" if now_and_then else "always",
    )
