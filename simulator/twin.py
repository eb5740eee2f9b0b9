"""The same press without its faults, under the same chance: what a disc would have been.

A twin takes the state of the real press when a fault begins, makes every shot along with it from the same
random draws, and is given up when the fault has gone and the two are alike again.
"""

from collections.abc import Mapping
from typing import Any

import numpy as np

from simulator.disc import Disc, set_disc
from simulator.faults import Situation
from simulator.press import PressState, shoot, stand_still
from simulator.stages import Setup

ALIKE_K = 0.02
ALIKE_ZONE_K = 0.1
ALIKE_MM = 0.01


class Twin:
    """A sound press beside the real one, there while a fault is at work or not yet forgotten."""

    def __init__(self, setup: Setup) -> None:
        self._setup = setup
        self._state: PressState | None = None
        self._rng = np.random.default_rng(0)

    @property
    def is_there(self) -> bool:
        """Whether the two may differ."""
        return self._state is not None

    def begin(self, real: PressState) -> None:
        """Take the state of the real press, where there is no twin yet."""
        self._state = self._state or real

    def stand_still(self, idle_s: float) -> None:
        """Stand as long as the real press does, as a sound one."""
        if self._state is not None:
            self._state = stand_still(self._state, self._setup, idle_s=idle_s)

    def end_if_like(self, real: PressState) -> None:
        """Give the twin up when nothing of a fault is left in the real press."""
        if self._state is not None and _are_alike(self._state, real):
            self._state = None

    def make(self, setup: Setup, sound: Situation, *, ambient_c: float, draws: Mapping[str, Any]) -> Disc:
        """Make one shot with the random draws that the real press is about to use.

        Parameters
        ----------
        setup : Setup
            With the settings of `sound`.
        sound : Situation
            What the shot would be made under without a fault.
        ambient_c : float
        draws : dict
            State of the real press's random generator before the shot.

        Returns
        -------
        Disc
        """
        assert self._state is not None  # there is a twin
        self._rng.bit_generator.state = draws
        self._state, outcome = shoot(self._state, setup, sound.health, ambient_c=ambient_c, rng=self._rng)
        return set_disc(
            outcome.molding, setup.mold, setup.blend, lay_mm=outcome.lay_mm, spread_mm=outcome.spread_mm
        )


def _are_alike(twin: PressState, real: PressState) -> bool:
    kelvins = (twin.core_c - real.core_c, twin.cavity_c - real.cavity_c, twin.tank_c - real.tank_c)
    zones = (a - b for a, b in zip(twin.zones_c, real.zones_c, strict=True))
    return (
        all(abs(by) < ALIKE_K for by in (*kelvins, twin.rest_k - real.rest_k))
        and all(abs(by) < ALIKE_ZONE_K for by in zones)
        and abs(twin.short_mm - real.short_mm) < ALIKE_MM
    )
