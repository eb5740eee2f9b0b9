"""The same press without its faults, under the same chance: what a disc would have been.

A twin takes the state of the real press when a fault begins, makes every shot along with it from the same
random draws, and is given up when the fault has gone and the two are alike again.
"""

from collections.abc import Mapping
from typing import Any

import numpy as np

from simulator.disc import Disc, set_disc
from simulator.faults import Situation
from simulator.press import PressState, shoot
from simulator.stages import Setup

ALIKE_K = 0.02
ALIKE_ZONE_K = 0.1
ALIKE_MM = 0.01


class Twin:
    """A sound press beside the real one."""

    def __init__(self, state: PressState) -> None:
        self.state = state
        self._rng = np.random.default_rng(0)

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
        self._rng.bit_generator.state = draws
        self.state, outcome = shoot(self.state, setup, sound.health, ambient_c=ambient_c, rng=self._rng)
        return set_disc(
            outcome.molding, setup.mold, setup.blend, lay_mm=outcome.lay_mm, spread_mm=outcome.spread_mm
        )

    def is_like(self, real: PressState) -> bool:
        """Whether nothing of a fault is left in the real press."""
        mine = self.state
        kelvins = (mine.core_c - real.core_c, mine.cavity_c - real.cavity_c, mine.tank_c - real.tank_c)
        zones = (a - b for a, b in zip(mine.zones_c, real.zones_c, strict=True))
        return (
            all(abs(by) < ALIKE_K for by in (*kelvins, mine.rest_k - real.rest_k))
            and all(abs(by) < ALIKE_ZONE_K for by in zones)
            and abs(mine.short_mm - real.short_mm) < ALIKE_MM
        )
