"""One press, one fault: what a score of single faults is made of."""

from datetime import datetime, timedelta
from zlib import crc32

import numpy as np

from simulator.faults import FAULTS, Episode, draw, prepared
from simulator.floor import Post, post
from simulator.scenarios.story import Part, Story, run_of, tell
from simulator.scenarios.times import utc
from simulator.spans import Span

SHOTS = 600
USUAL_CYCLE_S = 63.0
ONSET_SHARE = (0.15, 0.35)  # of the run: startup is over, and most of it lies ahead
TO_THE_END = timedelta(days=30)


def one_fault(
    name: str, seed: int, start: datetime, *, press: int | None = None, shots: int = SHOTS
) -> Story:
    """Qualify one press, then make a run in which one fault begins and stays to the end.

    Parameters
    ----------
    name : str
        A key of `simulator.faults.FAULTS`.
    seed : int
        It draws the instance, the press and when the fault begins.
    start : datetime
        Aware; the run begins here, the qualification run 20 hours before.
    press : int, optional
        Number of the press, 1 to 6; drawn among those that can have the fault without it.
    shots : int
        Of the run.

    Returns
    -------
    Story

    Raises
    ------
    ValueError
        If there is no such fault, or the press cannot have it.
    """
    if name not in FAULTS:
        raise ValueError(f"there is no fault {name!r}; take one of {', '.join(FAULTS)}")
    rng = np.random.default_rng([seed, crc32(name.encode()), 5])
    place = prepared(name, seed, _place(name, rng, press))
    onset_s = USUAL_CYCLE_S * shots * float(rng.uniform(*ONSET_SHARE))
    first = utc(start) + timedelta(seconds=round(onset_s))
    case, ordinary = draw(name, seed, place), FAULTS[name].ordinary
    episode = Episode(
        fault=name, press=place.press, start=first, end=first + TO_THE_END, case=case, ordinary=ordinary
    )
    run = Span(start=utc(start), run=run_of(place, 1), shots=shots)
    return tell(seed, start, [Part(place=place, spans=[run], episodes=(episode,))])


def _place(name: str, rng: np.random.Generator, press: int | None) -> Post:
    able = [place for place in map(post, range(1, 7)) if place.setup.blend.name in FAULTS[name].blends]
    if press is None:
        return able[int(rng.integers(len(able)))]
    place = post(press)
    if place.setup.blend.name not in FAULTS[name].blends:
        raise ValueError(
            f"press {place.press} runs blend {place.setup.blend.name}, which cannot have {name}; "
            f"take one of {', '.join(other.press for other in able)}"
        )
    return place
