"""Units: which spellings are read, and the straight line from one unit to another.

Pint does the arithmetic once for each pair of units; after that a conversion is one multiplication.
Codes such as ``CEL`` or ``MMT`` are those of UNECE Recommendation 20, which OPC 40077 uses.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal
from functools import cache, lru_cache

import pint


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit we know by name: how pint spells it, the canonical unit of its kind, other spellings."""

    name: str
    pint: str
    canonical: str
    spellings: tuple[str, ...] = ()


# fmt: off
UNITS: tuple[Unit, ...] = (
    Unit("MPa", "megapascal", "MPa", ("MPA", "N/mm2", "N/mm²")),
    Unit("bar", "bar", "MPa", ("BAR",)),
    Unit("kPa", "kilopascal", "MPa"),
    Unit("Pa", "pascal", "MPa"),
    Unit("psi", "psi", "MPa", ("PS", "PSI", "lbf/in2", "lbf/in²")),
    Unit("s", "second", "s", ("SEC", "sec", "second", "seconds")),
    Unit("ms", "millisecond", "s", ("C26", "msec")),
    Unit("min", "minute", "s", ("minute", "minutes")),
    Unit("h", "hour", "s", ("hour", "hours")),
    Unit("degC", "degC", "degC", ("CEL", "°C", "C", "deg C", "Cel")),
    Unit("degF", "degF", "degC", ("FAH", "°F", "F", "deg F")),
    # Kelvin of an unknown key may be a temperature or a difference, so it stays what it is.
    Unit("K", "kelvin", "K", ("kelvin",)),
    Unit("delta_degC", "delta_degC", "delta_degC", ("delta_°C", "delta_K")),
    Unit("delta_degF", "delta_degF", "delta_degC", ("delta_°F",)),
    Unit("mm", "millimeter", "mm", ("MMT", "millimeter")),
    Unit("um", "micrometer", "mm", ("µm", "μm")),
    Unit("cm", "centimeter", "mm"),
    Unit("m", "meter", "mm"),
    Unit("in", "inch", "mm", ("INH", "inch", '"')),
    Unit("cm3", "centimeter**3", "cm3", ("CMQ", "cm³", "cm^3", "ccm", "cc", "mL", "ml")),
    Unit("mm3", "millimeter**3", "cm3", ("mm³", "mm^3")),
    Unit("L", "liter", "cm3", ("l", "liter")),
    Unit("in3", "inch**3", "cm3", ("in³", "in^3", "cu in")),
    Unit("g", "gram", "g", ("GRM", "gram", "grams")),
    Unit("kg", "kilogram", "g"),
    Unit("oz", "ounce", "g", ("ounce",)),
    Unit("lb", "pound", "g", ("lbs",)),
    Unit("kN", "kilonewton", "kN", ("B47",)),
    Unit("N", "newton", "kN"),
    Unit("lbf", "pound_force", "kN"),
    Unit("ton_force_metric", "1000 * kilogram_force", "kN", ("metric ton force", "tf")),
    Unit("ton_force_us", "2000 * pound_force", "kN", ("US ton", "US_ton", "US ton force")),
    Unit("L/min", "liter/minute", "L/min", ("l/min", "lpm", "LPM")),
    Unit("gal/min", "gallon/minute", "L/min", ("gpm", "GPM")),
    Unit("cm3/s", "centimeter**3/second", "cm3/s", ("2M", "cm³/s", "cm^3/s", "ccm/s")),
    Unit("in3/s", "inch**3/second", "cm3/s", ("in³/s", "in^3/s")),
    # Pint's rpm counts radians, which would bring in two pi; a screw speed counts turns.
    Unit("1/min", "1/minute", "1/min", ("RPM", "rpm", "min-1", "min^-1", "r/min")),
    Unit("1/s", "1/second", "1/min", ("Hz",)),
    Unit("mm/s", "millimeter/second", "mm/s", ("C16",)),
    Unit("cm/s", "centimeter/second", "mm/s"),
    Unit("m/s", "meter/second", "mm/s"),
    Unit("in/s", "inch/second", "mm/s", ("ips",)),
    Unit("N*m", "newton*meter", "N*m", ("NU", "Nm", "N.m", "N·m", "N m")),
    Unit("lbf*ft", "pound_force*foot", "N*m", ("lbf.ft", "ft*lbf", "ft.lbf")),
    Unit("percent", "percent", "percent", ("P1", "%")),
    Unit("ppm", "ppm", "percent"),
    Unit("1", "dimensionless", "1", ("dimensionless",)),
)
# fmt: on

_BY_NAME = {unit.name: unit for unit in UNITS}
_NAMES = {spelling: unit.name for unit in UNITS for spelling in (unit.name, *unit.spellings)}
_ABSOLUTE = frozenset({"degC", "degF"})
_DIFFERENCE = frozenset({"delta_degC", "delta_degF"})
# Letters with at most a small exponent: anything else could keep pint's power operator busy.
_EXPRESSION = re.compile(r"[A-Za-z_]+(?:\^[1-9])?(?:[*/][A-Za-z_]+(?:\^[1-9])?){0,5}")


@cache
def _registry() -> pint.UnitRegistry[Decimal]:
    # Decimal factors, so that 742 bar is 742 times exactly 0.1.
    return pint.UnitRegistry(non_int_type=Decimal, cache_folder=None)


@lru_cache(maxsize=1024)
def normal_name(text: str) -> str | None:
    """Our spelling of a unit, or None when it is not one.

    Units outside the table are read by pint and keep its own name, as ``bar*second``.
    """
    name = _NAMES.get(text.strip())
    if name is not None or len(text) > 40 or not _EXPRESSION.fullmatch(text.strip()):
        return name
    try:
        return str(_registry().parse_units(text.strip()))
    except (pint.PintError, ValueError, TypeError, AttributeError):
        return None


def canonical(name: str) -> str:
    """Canonical unit for values of this unit's kind; a unit outside the table is its own."""
    unit = _BY_NAME.get(name)
    return name if unit is None else unit.canonical


@lru_cache(maxsize=1024)
def linear(source: str, target: str) -> tuple[float, float] | None:
    """Factor and offset so that ``value * factor + offset`` converts from `source` to `target`.

    Both are names as `normal_name` gives them. A temperature does not convert to a temperature
    difference: 20 degC is 20 K above freezing or no difference at all, only the sender knows.

    Returns
    -------
    tuple of (float, float) or None
        None when the two do not measure the same kind of thing.
    """
    if source == target:
        return 1.0, 0.0
    if _mixes_difference(source, target):
        return None
    try:
        zero, one = _image(Decimal(0), source, target), _image(Decimal(1), source, target)
    except pint.DimensionalityError:
        return None
    return float(one - zero), float(zero)


def convert(value: float, source: str, target: str) -> float:
    """Convert one value between two units given in any accepted spelling.

    Raises
    ------
    ValueError
        When a unit is unknown or the two do not measure the same kind of thing.
    """
    names = normal_name(source), normal_name(target)
    if names[0] is None or names[1] is None:
        unknown = source if names[0] is None else target
        raise ValueError(f"{unknown!r} is no unit that is known here")
    line = linear(names[0], names[1])
    if line is None:
        raise ValueError(f"{source!r} does not convert to {target!r}")
    return value * line[0] + line[1]


def _mixes_difference(source: str, target: str) -> bool:
    pair = (source, target)
    return any(name in _DIFFERENCE for name in pair) and any(name in _ABSOLUTE for name in pair)


def _image(value: Decimal, source: str, target: str) -> Decimal:
    quantity = _registry().Quantity(value * _scale(source), _pint_unit(source))
    return Decimal(quantity.to(_pint_unit(target)).magnitude) / _scale(target)


def _scale(name: str) -> Decimal:
    head, star, _ = _spelled(name).partition(" * ")
    return Decimal(head) if star else Decimal(1)


def _pint_unit(name: str) -> str:
    return _spelled(name).rpartition(" * ")[2]


def _spelled(name: str) -> str:
    unit = _BY_NAME.get(name)
    return name.replace(" ", "") if unit is None else unit.pint
