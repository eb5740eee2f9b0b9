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


def _converted(value: float, unit: str, target: str) -> float:
    try:
        return units.convert(value, unit, target)
    except ValueError as error:
        raise UserError(
            f"\u201c{unit}\u201d is no unit for this; type the reading in {unit_names.symbol(target)}."
        ) from error
