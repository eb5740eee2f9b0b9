"""What goes wrong on a press: one function per fault, which draws an instance of it.

A fault's function takes a random generator and the press's place and returns a `Case`: no two instances are
alike in size, speed and signature. A new fault is one function in the module of its family and one row of
`FAULTS`. Directions follow the trade's fault tables (common practice, no source); sizes are assumed.
"""

from collections.abc import Callable
from dataclasses import dataclass
from zlib import crc32

import numpy as np

from simulator.faults import cooling, data, heat, machine, material, melt, people
from simulator.faults.case import Case, Situation, Stop
from simulator.faults.episode import Episode, under
from simulator.floor import Post

__all__ = ["FAULTS", "Case", "Episode", "Fault", "Situation", "Stop", "draw", "prepared", "under"]

TAKES_UP_WATER = frozenset({"A", "B"})
ANY_BLEND = frozenset({"A", "B", "C"})


def _as_it_is(_rng: np.random.Generator, place: Post) -> Post:
    return place


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """One row of the table.

    Attributes
    ----------
    row : int
        Number of the trade's fault that it is a form of, 1 to 28.
    draw : callable
        (random generator, place) -> one instance.
    prepare : callable
        (random generator, place) -> the place as it must have been before, where the fault needs that.
    blends : frozenset of str
        Blends that can have it.
    ordinary : bool
        Belongs to any week; nobody should be called for it.
    """

    row: int
    draw: Callable[[np.random.Generator, Post], Case]
    prepare: Callable[[np.random.Generator, Post], Post] = _as_it_is
    blends: frozenset[str] = ANY_BLEND
    ordinary: bool = False


FAULTS: dict[str, Fault] = {
    "lot_change": Fault(row=1, draw=material.lot_change),
    "lot_change_at_limit": Fault(row=2, draw=material.lot_change_at_limit, prepare=material.near_the_limit),
    "wet_resin": Fault(row=3, draw=material.wet_resin, blends=TAKES_UP_WATER),
    "worn_check_ring": Fault(row=4, draw=melt.worn_check_ring),
    "check_ring_not_seating": Fault(row=5, draw=melt.check_ring_not_seating),
    "bottomed_screw": Fault(row=6, draw=melt.bottomed_screw),
    "leaking_nozzle": Fault(row=7, draw=melt.leaking_nozzle),
    "open_heater_band": Fault(row=8, draw=heat.open_heater_band),
    "loose_thermocouple": Fault(row=9, draw=heat.loose_thermocouple),
    "stuck_contactor": Fault(row=10, draw=heat.stuck_contactor),
    "blocked_coolant": Fault(row=11, draw=cooling.blocked_coolant),
    "blocked_coolant_core": Fault(row=11, draw=cooling.blocked_coolant_core),
    "blocked_coolant_cavity": Fault(row=11, draw=cooling.blocked_coolant_cavity),
    "failed_chiller": Fault(row=12, draw=cooling.failed_chiller),
    "one_half_warm": Fault(row=13, draw=cooling.one_half_warm),
    "shorter_cooling": Fault(row=14, draw=people.shorter_cooling),
    "operator_paced_gate": Fault(row=15, draw=people.operator_paced_gate),
    "early_gate": Fault(row=15, draw=people.early_gate),
    "stop_and_restart": Fault(row=16, draw=people.stop_and_restart),
    "back_pressure_lost": Fault(row=17, draw=melt.back_pressure_lost),
    "bridged_feed": Fault(row=18, draw=melt.bridged_feed),
    "worn_screw": Fault(row=19, draw=melt.worn_screw),
    "open_parting_line": Fault(row=20, draw=machine.open_parting_line),
    "weak_hydraulics": Fault(row=21, draw=machine.weak_hydraulics),
    "switchover_moved": Fault(row=22, draw=people.switchover_moved),
    "blocked_vent": Fault(row=23, draw=machine.blocked_vent),
    "uneven_regrind": Fault(row=24, draw=material.uneven_regrind),
    "day_and_night": Fault(row=25, draw=cooling.day_and_night, ordinary=True),
    "late_robot": Fault(row=26, draw=machine.late_robot),
    "stuck_sensor": Fault(row=27, draw=data.stuck_sensor),
    "dead_sensor": Fault(row=27, draw=data.dead_sensor),
    "coarse_sensor": Fault(row=27, draw=data.coarse_sensor),
    "wrong_unit": Fault(row=27, draw=data.wrong_unit),
    "counter_reset": Fault(row=27, draw=data.counter_reset),
    "duplicated_messages": Fault(row=27, draw=data.duplicated_messages),
    "late_messages": Fault(row=27, draw=data.late_messages),
    "lost_messages": Fault(row=27, draw=data.lost_messages),
    "clock_step": Fault(row=27, draw=data.clock_step),
    "color_change": Fault(row=28, draw=material.color_change),
}


def draw(name: str, seed: int, place: Post) -> Case:
    """Draw the instance that a seed gives at a place.

    Parameters
    ----------
    name : str
        A key of `FAULTS`.
    seed : int
        The same name, seed and place give the same instance.
    place : Post
        Prepared for the fault.

    Returns
    -------
    Case
    """
    return FAULTS[name].draw(_rng(name, seed, place, 2), place)


def prepared(name: str, seed: int, place: Post) -> Post:
    """The place as it must be before the fault; most faults need nothing."""
    return FAULTS[name].prepare(_rng(name, seed, place, 1), place)


def _rng(name: str, seed: int, place: Post, purpose: int) -> np.random.Generator:
    return np.random.default_rng([seed, place.number, crc32(name.encode()), purpose])
