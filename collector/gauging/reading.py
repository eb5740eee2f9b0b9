"""Reading a number as a gauge or a person types it."""

from __future__ import annotations

import math
import re

from collector.contract import quantities, unit_names, units
from collector.errors import UserError

_NUMBER = re.compile(r"([+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+))\s*([^\s\d.,+-]\S*)?")
_MINUS = str.maketrans({"\u2212": "-", "\u2013": "-"})


def parse(text: str, characteristic: str) -> tuple[float, str, float, str]:
    """Read a typed value: ``2.31``, ``2,31``, ``2.31 mm``, ``0.091 in``.

    Parameters
    ----------
    text : str
        What stands in the field.
    characteristic : str
        A known disc characteristic; a value without a unit is in its canonical unit.

    Returns
    -------
    tuple of (float, str, float, str)
        Value and unit in canonical form, then value and unit as typed.

    Raises
    ------
    UserError
        One sentence that says what is wrong and what to type.
    """
    quantity = quantities.find(characteristic)
    assert quantity is not None  # the form offers known characteristics only
    symbol = unit_names.symbol(quantity.unit)
    typed = text.strip().translate(_MINUS)
    if not typed:
        raise UserError(f"No value was typed; type the reading in {symbol}, such as 2.31.")
    found = _NUMBER.fullmatch(typed)
    if found is None:
        raise UserError(
            f"\u201c{text.strip()}\u201d is not one number; type the reading in {symbol}, such as 2.31."
        )
    original = float(found[1].replace(",", "."))
    unit = found[2] or quantity.unit
    value = _converted(original, unit, quantity.unit)
    if not math.isfinite(value) or not quantity.is_plausible(value):
        raise UserError(
            f"{original:g} {unit_names.symbol(unit)} cannot be a {quantity.label.lower()}: it lies outside "
            f"{quantity.plausible_low:g} to {quantity.plausible_high:g} {symbol}; gauge the disc again."
        )
    return value, quantity.unit, original, unit


def doubt(value: float, characteristic: str, *, low: float | None, high: float | None) -> str:
    """Why a reading looks mistyped, so that the person who typed it is asked once.

    Parameters
    ----------
    value : float
        In the canonical unit.
    characteristic : str
        A known disc characteristic.
    low, high : float or None
        Tolerance of its mold, canonical unit. A reading may lie outside by the width of the tolerance: that
        is a bad disc, and it counts. Beyond that a misplaced point is likelier. Common practice, no source.

    Returns
    -------
    str
        Empty when nothing speaks against the reading.
    """
    quantity = quantities.find(characteristic)
    assert quantity is not None  # the form offers known characteristics only
    name, said = quantity.label.lower(), quantities.format_value(characteristic, value)
    if low is not None and high is not None:
        width = high - low
        if low - width <= value <= high + width:
            return ""
        ends = f"{_bare(characteristic, low)} to {quantities.format_value(characteristic, high)}"
        return f"{said} is far outside this mold's tolerance for {name} ({ends})"
    return f"{said} is below zero, which is unusual for {name}" if value < 0 else ""


def _bare(characteristic: str, value: float) -> str:
    return quantities.format_value(characteristic, value).split()[0]


def _converted(value: float, unit: str, target: str) -> float:
    try:
        return units.convert(value, unit, target)
    except ValueError as error:
        raise UserError(
            f"\u201c{unit}\u201d is no unit for this; type the reading in {unit_names.symbol(target)}."
        ) from error
