"""One run on each press, from a cold start, with at most one fault: for `evenrun simulate` and for tests."""

from collections.abc import Iterator
from datetime import datetime, timedelta

from simulator.faults import FAULTS, Episode, draw, prepared
from simulator.floor import post, run_name
from simulator.records import SimRecord
from simulator.scenarios.stream import press_stream
from simulator.scenarios.times import merged, utc
from simulator.spans import Span, Standing

USUAL_CYCLE_S = 62.0
TO_THE_END = timedelta(days=100_000)


def plain(
    seed: int,
    start: datetime,
    *,
    presses: int = 1,
    shots: int = 500,
    fault: str | None = None,
    fault_at_shot: int | None = None,
) -> Iterator[SimRecord]:
    """Make one run of so many shots on each press; if asked, P1 catches a fault that stays to the end.

    The fault is full-grown halfway between its beginning and the end of the run, however slow it usually is.

    Parameters
    ----------
    seed : int
        It also draws the instance of the fault.
    start : datetime
        Aware.
    presses, shots : int
        At least 1.
    fault : str, optional
        A key of `simulator.faults.FAULTS`.
    fault_at_shot : int, optional
        About where it begins; without it after 60 % of the shots.

    Yields
    ------
    SimShot or SimEvent
    """
    places = {number: post(number) for number in range(1, presses + 1)}
    episodes: tuple[Episode, ...] = ()
    if fault is not None:
        places[1] = prepared(fault, seed, places[1])
        onset = 0.6 * shots if fault_at_shot is None else fault_at_shot
        left_s = USUAL_CYCLE_S * max(shots - onset, 1)
        case = draw(fault, seed, places[1]).within(left_s / 2)
        first = utc(start) + timedelta(seconds=USUAL_CYCLE_S * onset)
        ordinary = FAULTS[fault].ordinary
        last = first + TO_THE_END
        episodes = (Episode(fault=fault, press="P1", start=first, end=last, case=case, ordinary=ordinary),)
    return merged(
        press_stream(
            place,
            [Span(start=utc(start), run=run_name(number), shots=shots)],
            seed=seed,
            episodes=episodes,
            standing=Standing(counter=0, tray=0),
        )
        for number, place in places.items()
    )
