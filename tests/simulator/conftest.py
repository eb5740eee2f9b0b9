"""Averages of a settled press under changed settings, for the tests of press, disc and faults."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from simulator.disc import set_disc
from simulator.floor import post
from simulator.health import SOUND, Health
from simulator.materials import BLENDS
from simulator.press import cold_start, shoot

Means = dict[str, float]


def average(
    *,
    number: int = 1,
    blend: str | None = None,
    health: Health = SOUND,
    shots: int = 60,
    skipped: int = 40,
    machine: dict[str, float] | None = None,
    **settings: float,
) -> Means:
    """Mean of every reported value, with ``dome`` and ``diameter``, after the press has settled."""
    place = post(number).setup
    setup = replace(
        place,
        blend=place.blend if blend is None else BLENDS[blend],
        machine=replace(place.machine, **(machine or {})),
        settings=replace(place.settings, **settings),
    )
    rng = np.random.default_rng(5)
    state, rows = cold_start(setup, rng), []
    for _ in range(skipped + shots):
        state, outcome = shoot(state, setup, replace(health, ring_miss_rate=0.0), ambient_c=23.0, rng=rng)
        disc = set_disc(outcome.molding, setup.mold, setup.blend, lay_mm=0.0, spread_mm=0.0)
        rows.append({**outcome.values, "dome": disc.dome_24h_mm, "diameter": disc.diameter_24h_mm})
    kept = rows[skipped:]
    return {key: float(np.mean([row[key] for row in kept])) for key in kept[0]}


@pytest.fixture(scope="session")
def settled() -> Callable[..., Means]:
    """The function `average`, which a test calls with what it changes."""
    return average
