"""Stories of material, cooling and machine: what goes wrong by itself."""

from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np

from simulator.faults import Case, Episode, draw, prepared
from simulator.faults.draw import HOUR_S, between, chance, one_of, spells, stretched
from simulator.floor import Post, post
from simulator.health import SOUND
from simulator.scenarios.shifts import day, hours_after
from simulator.scenarios.story import Part, Story, tell
from simulator.scenarios.times import utc

NOT_ON_AN_OLD_PRESS = frozenset(
    {
        "mold_core_temperature",
        "mold_cavity_temperature",
        "coolant_supply_temperature",
        "coolant_return_temperature",
        "coolant_flow",
        "part_weight",
        "screw_torque",
    }
)
BUSY = (
    "lot_change",
    "wet_resin",
    "worn_check_ring",
    "check_ring_not_seating",
    "leaking_nozzle",
    "open_heater_band",
    "loose_thermocouple",
    "blocked_coolant_core",
    "blocked_coolant_cavity",
    "one_half_warm",
    "shorter_cooling",
    "early_gate",
    "back_pressure_lost",
    "bridged_feed",
    "late_robot",
    "weak_hydraulics",
    "uneven_regrind",
)


def lot_change(seed: int, start: datetime) -> Story:
    """A new lot of both blends on two presses, poured in hours apart; only that on the first is told."""
    rng = np.random.default_rng([seed, 101])
    parts = []
    for number, told in ((1, True), (2, False)):
        place, hours = post(number), between(rng, 2.0, 8.0)
        case = replace(draw("lot_change", seed, place), announced=told)
        episode = _until_shift_ends("lot_change", place, start, hours, case)
        parts.append(Part(place=place, spans=day(place, start), episodes=(episode,)))
    return tell(seed, start, parts)


def limited_fill_lot(seed: int, start: datetime) -> Story:
    """A press that fills at its pressure limit, as it was qualified, gets a stiffer lot."""
    rng = np.random.default_rng([seed, 102])
    place = prepared("lot_change_at_limit", seed, post(one_of(rng, (1, 2, 3, 5, 6))))
    case = draw("lot_change_at_limit", seed, place)
    episode = _until_shift_ends("lot_change_at_limit", place, start, between(rng, 2.0, 7.0), case)
    return tell(seed, start, [Part(place=place, spans=day(place, start), episodes=(episode,))])


def failed_chiller(seed: int, start: datetime) -> Story:
    """The chiller that three presses hang on fails; two to four hours later it is mended."""
    rng = np.random.default_rng([seed, 103])
    begins, lasts = between(rng, 2.0, 8.0), between(rng, 2.0, 4.0)
    case = draw("failed_chiller", seed, post(1))
    parts = []
    for place in map(post, (1, 2, 3)):
        episode = Episode(
            fault="failed_chiller",
            press=place.press,
            start=hours_after(start, begins),
            end=hours_after(start, begins + lasts),
            case=case,
        )
        parts.append(Part(place=place, spans=day(place, start), episodes=(episode,)))
    return tell(seed, start, parts)


def drift_before_complaint(seed: int, start: datetime) -> Story:
    """A line of one half clogs over the whole day, tray by tray; nobody looks until a buyer complains."""
    rng = np.random.default_rng([seed, 104])
    place, half = post(one_of(rng, (2, 3, 5))), one_of(rng, ("core", "cavity"))
    case = Case(
        health={f"{half}_flow_share": between(rng, 0.3, 0.5)},
        growth="ramp",
        rise_s=between(rng, 10.0, 14.0) * HOUR_S,
        variant="clogs over the day",
    )
    fault = f"blocked_coolant_{half}"
    episode = _until_shift_ends(fault, place, start, between(rng, 0.8, 2.5), case)
    return tell(seed, start, [Part(place=place, spans=day(place, start), episodes=(episode,))])


def wandering_ring(seed: int, start: datetime) -> Story:
    """A check ring that leaks more, then less, then not at all, and misses a shot now and then."""
    rng = np.random.default_rng([seed, 105])
    place = post(int(rng.integers(1, 7)))
    begins = between(rng, 1.5, 4.0)
    episodes = tuple(
        _until_shift_ends("worn_check_ring", place, start, begins + number * 0.2, _wander(rng))
        for number in range(3)
    )
    return tell(seed, start, [Part(place=place, spans=day(place, start), episodes=episodes)])


def old_press(seed: int, start: datetime) -> Story:
    """A press without sensors at mold, coolant and scale: one half runs warm unseen, later a ring leaks.

    Nothing that this press reports tells of the first; only the gauge does.
    """
    rng = np.random.default_rng([seed, 107])
    place = replace(post(one_of(rng, (3, 5, 6))), unreported=NOT_ON_AN_OLD_PRESS)
    episodes = []
    for fault, hours, lasts_h in (("one_half_warm", 2.0, 4.0), ("worn_check_ring", 9.0, 6.0)):
        begin = hours_after(start, hours + between(rng, -0.5, 0.5))
        case, end = draw(fault, seed, place), begin + timedelta(hours=lasts_h)
        episodes.append(Episode(fault=fault, press=place.press, start=begin, end=end, case=case))
    return tell(seed, start, [Part(place=place, spans=day(place, start), episodes=tuple(episodes))])


def busy_day(seed: int, start: datetime) -> Story:
    """Six presses; each has one or two faults in the day, mended after one to four hours."""
    rng = np.random.default_rng([seed, 106])
    parts = []
    for place in map(post, range(1, 7)):
        episodes, hours = [], between(rng, 1.0, 4.0)
        for _ in range(2 if chance(rng, 0.5) else 1):
            episode = _for_a_while(rng, seed, place, start, hours)
            episodes.append(episode)
            hours = (episode.over - utc(start)).total_seconds() / HOUR_S + between(rng, 1.5, 3.0)
        parts.append(Part(place=place, spans=day(place, start), episodes=tuple(episodes)))
    return tell(seed, start, parts)


def _for_a_while(rng: np.random.Generator, seed: int, place: Post, start: datetime, hours: float) -> Episode:
    fault = one_of(rng, [name for name in BUSY if name != "wet_resin" or place.setup.blend.name != "C"])
    begin = hours_after(start, hours)
    end = begin + timedelta(hours=between(rng, 1.0, 4.0))
    return Episode(fault=fault, press=place.press, start=begin, end=end, case=draw(fault, seed, place))


def _wander(rng: np.random.Generator) -> Case:
    return Case(
        health={
            "ring_leak_mm": between(rng, 0.5, 2.0),
            "ring_miss_rate": SOUND.ring_miss_rate + stretched(rng, 0.001, 0.01),
        },
        growth="settling",
        rise_s=between(rng, 300.0, 1800.0),
        spells=spells(rng, at_work_s=(900.0, 5400.0), between_s=(600.0, 3600.0)),
    )


def _until_shift_ends(fault: str, place: Post, start: datetime, hours: float, case: Case) -> Episode:
    begin = hours_after(start, hours)
    return Episode(fault=fault, press=place.press, start=begin, end=begin + timedelta(days=3), case=case)
