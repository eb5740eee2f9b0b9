"""The values of many shots as one table, for everything that judges them at once. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import chain
from operator import attrgetter, itemgetter

import numpy as np
from numpy.typing import NDArray

from collector.contract.shot import Shot

_values = attrgetter("values")


def table_of(shots: Sequence[Shot], keys: Sequence[str]) -> NDArray[np.float64]:
    """The values of some keys, one or more, which all of the shots have; a row a shot, a column a key."""
    picked = map(itemgetter(*keys), map(_values, shots))
    # Of one key, itemgetter gives no row but the bare value.
    flat = picked if len(keys) == 1 else chain.from_iterable(picked)
    return np.fromiter(flat, np.float64, len(shots) * len(keys)).reshape(len(shots), len(keys))
