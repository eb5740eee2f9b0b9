"""By what does a number change when only its unit does? One table by canonical unit. Pure.

A press that is told to send another unit, and whose mapping is not, jumps by a factor that no process gives
between two shots. Factors nearer to 1 than `LEAST_FACTOR` are left out, since a process may reach them.

References
----------
BIPM, The International System of Units, 9th ed. (2019), and NIST Special Publication 811 (2008), appendix B,
for the factors (from memory). Which jumps are common is common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

NEAR = 0.06  # of the value: how close to a known jump it has to come
NEAR_K = 6.0  # the same of a temperature that may have come in degF or K
LEAST_FACTOR = 3.0
LEAST_KELVIN = 28.0  # a temperature in degF lies at least so far from the same in degC, above -5 degC

# canonical unit -> factor told / meant -> what was sent for what was expected
_FACTORS: Mapping[str, Mapping[float, str]] = {
    "MPa": {
        10.0: "bar instead of MPa", 0.1: "MPa instead of bar", 145.038: "psi instead of MPa",
        14.5038: "psi instead of bar", 0.145038: "kpsi instead of MPa", 1 / 14.5038: "bar instead of psi",
        1 / 145.038: "MPa instead of psi", 1000.0: "kPa instead of MPa",
    },
    "mm": {
        0.1: "cm instead of mm", 10.0: "mm instead of cm", 1 / 25.4: "inches instead of mm",
        25.4: "mm instead of inches", 0.001: "m instead of mm", 1000.0: "micrometers instead of mm",
    },
    "mm/s": {0.1: "cm/s instead of mm/s", 10.0: "mm/s instead of cm/s", 1 / 25.4: "in/s instead of mm/s",
             25.4: "mm/s instead of in/s"},
    "cm3": {1 / 16.387: "cubic inches instead of cm3", 16.387: "cm3 instead of cubic inches",
            1000.0: "mm3 instead of cm3", 0.001: "liters instead of cm3"},
    "g": {0.001: "kg instead of g", 1000.0: "g instead of kg", 1 / 28.3495: "ounces instead of g",
          28.3495: "g instead of ounces"},
    "kN": {1000.0: "N instead of kN", 0.001: "kN instead of N", 0.101972: "t instead of kN",
           9.80665: "kN instead of t", 0.112404: "US tons instead of kN", 8.89644: "kN instead of US tons"},
    "s": {1000.0: "ms instead of s", 0.001: "s instead of ms", 60.0: "s instead of min",
          1 / 60.0: "min instead of s"},
    "L/min": {3.78541: "L/min instead of gal/min"},
}  # fmt: skip
FAHRENHEIT, CELSIUS, KELVIN, FROM_KELVIN = (
    "degF instead of degC", "degC instead of degF", "K instead of degC", "degC instead of K",
)  # fmt: skip


def meant(unit: str, level: float) -> dict[str, float]:
    """What a value at this level becomes under each known jump of its unit; empty for units without any.

    Parameters
    ----------
    unit : str
        Canonical unit.
    level : float
        What the value usually is, in that unit.
    """
    if unit == "degC":
        jumps = {
            FAHRENHEIT: 1.8 * level + 32, CELSIUS: (level - 32) / 1.8,
            KELVIN: level + 273.15, FROM_KELVIN: level - 273.15,
        }  # fmt: skip
        return {name: told for name, told in jumps.items() if abs(told - level) >= LEAST_KELVIN}
    if level <= 0:
        return {}
    return {name: factor * level for factor, name in _FACTORS.get(unit, {}).items()}


def found(unit: str, level: float, value: float) -> str | None:
    """The jump that explains a value which used to be at this level, None if none does."""
    near = {name: told for name, told in meant(unit, level).items() if _is_near(unit, value, told)}
    return min(near, key=lambda name: abs(near[name] - value), default=None)


def is_usual(unit: str, level: float, value: float) -> bool:
    """Whether a value is so near to its level that no jump can explain it; a quick answer for nearly all."""
    if unit == "degC":
        return abs(value - level) < LEAST_KELVIN - NEAR_K
    return level / 2 < value < 2 * level


def still(unit: str, level: float, value: float, jump: str) -> bool:
    """Whether a value under a jump is nearer to what it became by it than to where it was."""
    told = meant(unit, level).get(jump)
    if told is None:
        return False
    if unit == "degC" or value <= 0:
        return abs(value - told) < abs(value - level)
    return abs(math.log(value / told)) < abs(math.log(value / level))


def _is_near(unit: str, value: float, told: float) -> bool:
    return abs(value - told) <= (NEAR_K if unit == "degC" else NEAR * abs(told))


def quiet_step(unit: str) -> float | None:
    """A change between neighbors that is too small to be on the way of a jump from a median of seven.

    In kelvin for temperatures, else the greater of the two over the smaller; None for units without any jump.
    A median of seven lies at most four such steps away.
    """
    if unit == "degC":
        return (LEAST_KELVIN - NEAR_K) / 4
    factors = [max(factor, 1 / factor) for factor in _FACTORS.get(unit, {})]
    return (min(factors) * (1 - NEAR)) ** 0.25 if factors else None
