"""Which unit numbers of a quantity are in, by the range that is plausible for it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from collector.contract import units
from collector.contract.quantities import find

# Units that presses and gateways send, by canonical unit, the usual ones first.
_USUAL = {
    "MPa": ("MPa", "bar", "psi"),
    "s": ("s", "ms"),
    "degC": ("degC", "degF"),
    "mm": ("mm", "in"),
    "cm3": ("cm3", "in3"),
    "g": ("g", "kg", "oz"),
    "kN": ("kN", "ton_force_metric", "ton_force_us"),
    "L/min": ("L/min", "gal/min"),
    "mm/s": ("mm/s", "in/s"),
}


@dataclass(frozen=True, slots=True)
class UnitGuess:
    """A unit, and why it is in doubt (None: the sender names it and the numbers are plausible)."""

    unit: str
    doubt: str | None


def guess_unit_of(key: str, numbers: Sequence[float], named: str | None) -> UnitGuess:
    """The unit that numbers are most likely in.

    Parameters
    ----------
    key : str
        A known quantity.
    numbers : sequence of float
        As sent, without those that mean "not written".
    named : str or None
        Unit that the sender names beside the number or in its name.
    """
    quantity = find(key)
    assert quantity is not None, "guesses are made of known quantities"
    canonical = quantity.unit
    name = None if named is None else units.normal_name(named)
    if name is not None and units.linear(name, canonical) is not None:
        fits = _plausible(key, numbers, name)
        return UnitGuess(name, None if fits else f"{_shown(numbers)} {name} is not plausible")
    fitting = [unit for unit in _USUAL.get(canonical, (canonical,)) if _plausible(key, numbers, unit)]
    if not fitting:
        return UnitGuess(canonical, f"{_shown(numbers)} is plausible in no usual unit; is it this quantity?")
    told = "no unit is named" if named is None else f"the unit {named!r} is not known"
    others = f"; it may be {' or '.join(fitting[1:])}" if fitting[1:] else ""
    return UnitGuess(fitting[0], f"{told}, {fitting[0]} is plausible for {_shown(numbers)}{others}")


def is_plausible(key: str, number: float, unit: str) -> bool:
    """Whether a number in a unit can be what the quantity says it is."""
    quantity = find(key)
    line = None if quantity is None else units.linear(unit, quantity.unit)
    return quantity is not None and line is not None and quantity.is_plausible(number * line[0] + line[1])


def _plausible(key: str, numbers: Sequence[float], unit: str) -> bool:
    return all(is_plausible(key, number, unit) for number in numbers)


def _shown(numbers: Sequence[float]) -> str:
    if not numbers:
        return "nothing"
    low, high = min(numbers), max(numbers)
    return f"{low:g}" if low == high else f"{low:g} to {high:g}"
