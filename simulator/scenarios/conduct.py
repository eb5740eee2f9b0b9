"""Stories of people and of data: shifts, stops, trials, gateways, and days on which nothing goes wrong."""

from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np

from simulator.faults import FAULTS, Case, Episode, draw
from simulator.faults.draw import between, spells
from simulator.floor import post
from simulator.plant import Settings
from simulator.scenarios.shifts import around_the_clock, day, hours_after
from simulator.scenarios.story import Part, Story, run_of, tell
from simulator.scenarios.times import utc
from simulator.spans import Span

LEG_SHOTS = 45  # until a leg's last discs come from a settled mold
GATEWAY_FAULTS = tuple(name for name, fault in FAULTS.items() if fault.row == 27)


def sound_days(seed: int, start: datetime, *, presses: int = 3, days: int = 2) -> Story:
    """Nothing goes wrong; day and night, lunch and starts are all there is."""
    places = [post(number) for number in range(1, presses + 1)]
    return tell(
        seed,
        start,
        [
            Part(
                place=place,
                spans=[
                    span
                    for number in range(days)
                    for span in day(place, utc(start) + timedelta(days=number), number=number + 1)
                ],
            )
            for place in places
        ],
    )


def startup_after_lunch(seed: int, start: datetime) -> Story:
    """Two presses stand over a lunch of half an hour to an hour and a half and start up again; no fault."""
    rng = np.random.default_rng([seed, 201])
    parts = [
        Part(place=place, spans=day(place, start, lunch_h=between(rng, 0.5, 1.5)))
        for place in map(post, (1, 2))
    ]
    return tell(seed, start, parts)


def night_shift(seed: int, start: datetime) -> Story:
    """Around the clock on two presses; one crew of the second night half rushes the gate on one of them.

    The day is counted from the start: from 16 to 24 hours after it people open the gate early, with pauses
    in which the press runs by itself.
    """
    rng = np.random.default_rng([seed, 202])
    rushed, other = post(1), post(2)
    case = Case(
        health={"cut_s": between(rng, 6.0, 12.0), "pace_spread": between(rng, 0.15, 0.35)},
        spells=spells(rng, at_work_s=(2400.0, 7200.0), between_s=(600.0, 1800.0)),
        variant="night crew",
    )
    night = Episode(
        fault="early_gate",
        press=rushed.press,
        start=hours_after(start, 16.0),
        end=hours_after(start, 24.0),
        case=case,
    )
    return tell(
        seed,
        start,
        [
            Part(place=rushed, spans=around_the_clock(rushed, start, hours=28.0), episodes=(night,)),
            Part(place=other, spans=around_the_clock(other, start, hours=28.0)),
        ],
    )


def trial_day(seed: int, start: datetime) -> Story:
    """A technician tries settings on one press, leg by leg, between two stretches of production; no fault."""
    rng = np.random.default_rng([seed, 203])
    place = post(int(rng.integers(1, 7)))
    first, trial, last = (run_of(place, number) for number in (1, 2, 3))
    begin, usual = utc(start), place.setup.settings
    legs = [
        Span(
            start=begin,
            run=trial,
            shots=LEG_SHOTS,
            settings=settings,
            recipe=f"{place.recipe}, trial",
            trial=True,
            stop_reason=None,
        )
        for settings in _legs(rng, usual)
    ]
    spans = [
        Span(start=begin, end=hours_after(begin, 4.0), run=first, stop_reason=None),
        *legs,
        Span(start=begin, end=hours_after(begin, 16.0), run=last),
    ]
    return tell(seed, start, [Part(place=place, spans=spans, trials=(trial,))])


def bad_gateway(seed: int, start: datetime) -> Story:
    """One press's gateway and sensors spoil the records in every way, in turn; a sound press beside."""
    rng = np.random.default_rng([seed, 204])
    ill, well = post(1), post(2)
    episodes = []
    for place, index in enumerate(rng.permutation(len(GATEWAY_FAULTS))):
        fault, begin = GATEWAY_FAULTS[index], hours_after(start, 1.5 * (place + 1))
        end = begin + timedelta(hours=between(rng, 0.8, 1.2))
        case = draw(fault, seed, ill)
        episodes.append(Episode(fault=fault, press=ill.press, start=begin, end=end, case=case))
    return tell(
        seed,
        start,
        [
            Part(place=ill, spans=day(ill, start), episodes=tuple(episodes)),
            Part(place=well, spans=day(well, start)),
        ],
    )


def _legs(rng: np.random.Generator, usual: Settings) -> list[Settings]:
    """One setting at a time, either way, in an order drawn, with the usual settings between."""
    tried = [replace(usual, injection_speed_mm_s=usual.injection_speed_mm_s + way * 8.0) for way in (-1, 1)]
    tried += [replace(usual, hold_pressure_mpa=usual.hold_pressure_mpa + way * 8.0) for way in (-1, 1)]
    tried += [replace(usual, cooling_time_s=usual.cooling_time_s + way * 8.0) for way in (-1, 1)]
    return [leg for index in rng.permutation(len(tried)) for leg in (tried[index], usual)]
