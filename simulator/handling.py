"""What the person at the press throws away at once: the first shots after a start, and what looks wrong.

Shares are assumed; which discs are thrown away is common practice, no source.
"""

import numpy as np

from simulator.disc import Disc
from simulator.stages import Setup
from simulator.usual import usual

FIRST_SHOTS = 3  # after a start
LIGHT_SHARE = 0.03  # short of melt or with flash by this part of its weight, a disc looks wrong
SEEN = 0.9  # of those that look wrong
DROPPED = 0.002  # of all: dropped, scratched, stained


class Handling:
    """One press's person.

    Parameters
    ----------
    setup : Setup
        What the press usually makes.
    rng : numpy.random.Generator
        Of its own, so that throwing away changes nothing of the shots.
    """

    def __init__(self, setup: Setup, rng: np.random.Generator) -> None:
        self._usual_g = usual(setup).weight_g
        self._rng = rng
        self._since_start = 0

    def scraps(self, disc: Disc, *, startup: bool) -> bool:
        """Whether the disc is thrown away; asked once for every shot, in order."""
        seen, dropped = self._rng.random() < SEEN, self._rng.random() < DROPPED
        looks_wrong = abs(disc.weight_g / self._usual_g - 1) > LIGHT_SHARE
        self._since_start = self._since_start + 1 if startup else 0
        return bool(0 < self._since_start <= FIRST_SHOTS or dropped or (looks_wrong and seen))
