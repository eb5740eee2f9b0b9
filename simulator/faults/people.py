"""What people do at a press: settings, pace, stops. Sizes are assumed within what is common on the floor
(common practice, no source)."""

import numpy as np

from simulator.faults.case import Case, Stop
from simulator.faults.draw import HOUR_S, MINUTE_S, between, chance, one_of, spells, stretched
from simulator.floor import Post

SETTLED_AGAIN_S = 35 * MINUTE_S  # values return over 10 to 30 shots


def shorter_cooling(rng: np.random.Generator, place: Post) -> Case:
    """Somebody shortens the cooling timer by whole seconds: a setpoint change, seen in the setpoints."""
    now_s = place.setup.settings.cooling_time_s
    return Case(settings={"cooling_time_s": now_s - int(rng.integers(3, 10))})


def operator_paced_gate(rng: np.random.Generator, place: Post) -> Case:
    """A person takes the disc out and closes the gate in their own time, another one at every shot."""
    del place
    in_turns = chance(rng, 0.5)
    return Case(
        health={"pace_spread": between(rng, 0.2, 0.5), "pace_factor": between(rng, 1.2, 2.2)},
        spells=spells(rng, at_work_s=(40 * MINUTE_S, 2 * HOUR_S), between_s=(20 * MINUTE_S, 90 * MINUTE_S))
        if in_turns
        else (),
        variant="in turns" if in_turns else "all the time",
    )


def early_gate(rng: np.random.Generator, place: Post) -> Case:
    """A person opens the gate before the cooling timer has run out, each time anew."""
    del place
    return Case(
        health={"cut_s": between(rng, 4.0, 11.0), "pace_spread": between(rng, 0.12, 0.35)},
        growth="settling",
        rise_s=between(rng, 0.0, 20 * MINUTE_S),
    )


def stop_and_restart(rng: np.random.Generator, place: Post) -> Case:
    """The press stands for a while and goes on: told as a stop, or left open with nobody told."""
    del place
    told = chance(rng, 0.6)
    length_s = stretched(rng, 4 * MINUTE_S, 50 * MINUTE_S)
    return Case(
        stop=Stop(length_s, told),
        lasts_s=length_s + SETTLED_AGAIN_S,
        variant="told" if told else "not told",
    )


def switchover_moved(rng: np.random.Generator, place: Post) -> Case:
    """Somebody moves switchover by some millimeters, forward or back."""
    now_mm = place.setup.settings.switchover_position_mm
    way = one_of(rng, (-1.0, 1.0))
    return Case(
        settings={"switchover_position_mm": round(now_mm + way * between(rng, 1.0, 3.5), 1)},
        variant="later" if way < 0 else "earlier",
    )
