"""Where do values complete a run rule? The five shapes, each for the newest value and for a whole array.

An array form gets standardised values, shape (n,), NaN where missing, and returns whether each value
completes the pattern. A newest form gets only the values since the last missing one, the newest last. The
third form says which of the values that complete a pattern take part in it.

References
----------
Nelson, L. S. (1984). The Shewhart control chart - tests for special causes. J. Quality Technology 16,
237-239.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from rules.run_rule import RunRule

__all__ = ["PATTERNS", "BoolArray", "Pattern"]

BoolArray = NDArray[np.bool_]
FloatArray = NDArray[np.float64]


def _all_of_them(window: Sequence[float], _rule: RunRule) -> list[bool]:
    return [True] * len(window)


@dataclass(frozen=True, slots=True)
class Pattern:
    """One shape: ``newest(values, rule)``, ``whole(z, rule)`` and ``part(window, rule)``.

    ``part`` gets the last ``of`` values of a pattern that is complete, and flags those that take part.
    """

    newest: Callable[[Sequence[float], RunRule], bool]
    whole: Callable[[FloatArray, RunRule], BoolArray]
    part: Callable[[Sequence[float], RunRule], list[bool]] = _all_of_them


def _in_a_row(flags: BoolArray, length: int) -> BoolArray:
    """Return where the last ``length`` flags are all set; windows are doubled, so it takes log2 passes."""
    reached, width = flags, 1
    while width < length:
        shift = min(width, length - width)
        longer = np.empty_like(reached)
        longer[:shift] = False
        np.logical_and(reached[shift:], reached[:-shift], out=longer[shift:])
        reached, width = longer, width + shift
    return reached


def _present(z: FloatArray, rule: RunRule) -> BoolArray | None:
    """Return which values are there, or None if that makes no difference to ``rule``."""
    gaps = None if rule.count == rule.of else np.isnan(z)
    return ~gaps if gaps is not None and gaps.any() else None


def _some_of(flags: BoolArray, present: BoolArray | None, rule: RunRule) -> BoolArray:
    """Return where a set flag closes a window of ``of`` values, ``count`` of them set.

    A flag before a missing value does not count.
    """
    if rule.count == rule.of:
        return _in_a_row(flags, rule.of)
    ones = flags.view(np.uint8)
    total: NDArray[np.integer] = ones.astype(np.uint8 if rule.of < 256 else np.int64)
    unbroken = None if present is None else present.copy()
    for back in range(1, min(rule.of, flags.size)):
        earlier = ones[:-back]
        if present is not None and unbroken is not None:
            unbroken[back:] &= present[:-back]
            earlier = earlier & unbroken[back:]
        np.add(total[back:], earlier, out=total[back:])
    return np.asarray(np.greater_equal(total, rule.count) & flags)


def _upper(value: float, rule: RunRule) -> bool:
    return rule.limit < value < rule.high


def _beyond_newest(values: Sequence[float], rule: RunRule) -> bool:
    newest, limit, high = values[-1], rule.limit, rule.high
    if limit < newest < high:
        return sum(limit < value < high for value in values[-rule.of :]) >= rule.count
    if limit < -newest < high:
        return sum(limit < -value < high for value in values[-rule.of :]) >= rule.count
    return False


def _sides(z: FloatArray, rule: RunRule) -> tuple[BoolArray, BoolArray]:
    """Return where a value lies in the upper zone, and where in the lower one."""
    above, below = z > rule.limit, z < -rule.limit
    if rule.high < math.inf:
        above &= z < rule.high
        below &= z > -rule.high
    return above, below


def _beyond_whole(z: FloatArray, rule: RunRule) -> BoolArray:
    (above, below), present = _sides(z, rule), _present(z, rule)
    return _some_of(above, present, rule) | _some_of(below, present, rule)


def _beyond_part(window: Sequence[float], rule: RunRule) -> list[bool]:
    side = math.copysign(1.0, window[-1])
    return [_upper(side * value, rule) for value in window]


def _inside_newest(values: Sequence[float], rule: RunRule) -> bool:
    if not abs(values[-1]) < rule.limit:
        return False
    return sum(_inside_part(values[-rule.of :], rule)) >= rule.count


def _inside_whole(z: FloatArray, rule: RunRule) -> BoolArray:
    return _some_of(np.abs(z) < rule.limit, _present(z, rule), rule)


def _inside_part(window: Sequence[float], rule: RunRule) -> list[bool]:
    return [abs(value) < rule.limit for value in window]


def _outside_newest(values: Sequence[float], rule: RunRule) -> bool:
    window = values[-rule.of :]
    if not _upper(abs(values[-1]), rule) or sum(_outside_part(window, rule)) < rule.count:
        return False
    return not rule.both_sides or min(window) < 0 < max(window)


def _outside_whole(z: FloatArray, rule: RunRule) -> BoolArray:
    above, below = _sides(z, rule)
    found = _some_of(above | below, _present(z, rule), rule)
    if rule.both_sides:
        found &= ~(_in_a_row(above, rule.of) | _in_a_row(below, rule.of))
    return found


def _outside_part(window: Sequence[float], rule: RunRule) -> list[bool]:
    return [_upper(abs(value), rule) for value in window]


def _step_signs(values: Sequence[float], of: int) -> list[int]:
    tail = values[-of:]
    return [(after > before) - (after < before) for before, after in pairwise(tail)]


def _trend_newest(values: Sequence[float], rule: RunRule) -> bool:
    signs = _step_signs(values, rule.of)
    return len(signs) == rule.of - 1 and signs[-1] != 0 and all(sign == signs[-1] for sign in signs)


def _trend_whole(z: FloatArray, rule: RunRule) -> BoolArray:
    rising, falling = _steps(z)
    return _in_a_row(rising, rule.of - 1) | _in_a_row(falling, rule.of - 1)


def _steps(z: FloatArray) -> tuple[BoolArray, BoolArray]:
    """Return where a value is above, and where below, the value before it."""
    rising, falling = np.zeros(z.size, dtype=np.bool_), np.zeros(z.size, dtype=np.bool_)
    np.greater(z[1:], z[:-1], out=rising[1:])
    np.less(z[1:], z[:-1], out=falling[1:])
    return rising, falling


def _alternating_newest(values: Sequence[float], rule: RunRule) -> bool:
    signs = _step_signs(values, rule.of)
    return len(signs) == rule.of - 1 and all(a * b < 0 for a, b in pairwise(signs))


def _alternating_whole(z: FloatArray, rule: RunRule) -> BoolArray:
    rising, falling = _steps(z)
    turned = np.zeros(z.size, dtype=np.bool_)
    turned[1:] = (rising[1:] & falling[:-1]) | (falling[1:] & rising[:-1])
    return _in_a_row(turned, rule.of - 2)


PATTERNS: dict[str, Pattern] = {
    "beyond": Pattern(newest=_beyond_newest, whole=_beyond_whole, part=_beyond_part),
    "inside": Pattern(newest=_inside_newest, whole=_inside_whole, part=_inside_part),
    "outside": Pattern(newest=_outside_newest, whole=_outside_whole, part=_outside_part),
    "trend": Pattern(newest=_trend_newest, whole=_trend_whole),
    "alternating": Pattern(newest=_alternating_newest, whole=_alternating_whole),
}
