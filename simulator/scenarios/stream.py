"""One press's records as they arrive: what the line makes, through its gateway."""

from collections.abc import Callable, Iterable, Iterator

import numpy as np

from simulator.data_faults import Gateway
from simulator.faults import Episode
from simulator.floor import Post
from simulator.line import Line
from simulator.records import SimRecord, SimShot
from simulator.spans import Span, Standing


def _nobody(_shot: SimShot) -> None:
    """Told of what was made, where nobody asks."""


def press_stream(
    place: Post,
    spans: Iterable[Span],
    *,
    seed: int,
    episodes: tuple[Episode, ...],
    standing: Standing,
    made: Callable[[SimShot], None] = _nobody,
) -> Iterator[SimRecord]:
    """Make what the spans say, and pass it through the gateway where an episode garbles records."""
    mine = [episode for episode in episodes if episode.press == place.press]
    physical = [episode for episode in mine if episode.case.garble is None]
    garbling = [episode for episode in mine if episode.case.garble is not None]
    line = Line(place, seed=seed, episodes=physical, standing=standing)
    gateway = Gateway(garbling, np.random.default_rng([seed, place.number, 6]))
    return gateway.send(line.records(spans), made)
