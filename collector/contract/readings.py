"""Values with units: from a message's numbers to canonical ones, fast for the same keys again and again."""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from functools import lru_cache
from math import isfinite
from typing import cast

from collector.contract import units
from collector.contract.members import wrong_type
from collector.contract.quantities import Scope, find
from collector.contract.refusal import Reason
from collector.contract.shot import Original
from collector.contract.strict_json import Members, not_finite
from collector.contract.unreadable import Unreadable, pointer, shown

_KEY = re.compile(r"[a-z][a-z0-9_]{0,62}(\.[1-9][0-9]?)?")
_NOTHING: Members = {}
_FLOATS = frozenset({float})
_WHERE: dict[Scope, str] = {"shot": "a shot's values", "setpoint": "setpoints", "disc": "gaugings"}


@dataclass(frozen=True, slots=True)
class Reading:
    """How the numbers of one key in one unit are read.

    `sent_unit` is the sender's unit where it differs from the canonical one; `own_unit` is the unit
    of a key that the quantities table does not know.
    """

    factor: float
    offset: float
    sent_unit: str | None
    own_unit: str | None


@dataclass(frozen=True, slots=True)
class Problem:
    """Why the numbers of one key in one unit cannot be read."""

    reason: Reason
    detail: str
    remedy: str


@dataclass(frozen=True, slots=True)
class _Plan:
    """How a block is read whose keys are all known: which of them in another unit, and own units."""

    converted: tuple[tuple[str, Reading, str], ...]
    own_units: Mapping[str, str]


class Readings:
    """Canonical numbers of one block of a message, collected key by key."""

    __slots__ = ("not_written", "originals", "units", "values")

    def __init__(self) -> None:
        self.values: dict[str, float] = {}
        self.originals: dict[str, Original] = {}
        self.units: dict[str, str] = {}
        self.not_written: list[str] = []


def read_block(block: object, unit_names: Members, name: str, scope: Scope, found: Readings) -> None:
    """Read one object of numbers (``values`` or ``setpoints``) into `found`.

    Raises
    ------
    Unreadable
        At the first member that cannot be read, with its JSON pointer.
    """
    if type(block) is not dict:
        raise wrong_type(pointer(name), block, "an object of numbers by key")
    plan = _plan(tuple(block), tuple(unit_names.items()), scope)
    if plan is not None and _are_floats(block.values()):
        _read_plain(block, plan, name, found)
        return
    values, originals = found.values, found.originals
    for key, value in block.items():
        if value is None:
            _key_or_refuse(key, name)
            found.not_written.append(key)
            continue
        number = as_number(value, name, key)
        reading = how_to_read(key, unit_of(unit_names, key), scope)
        if isinstance(reading, Problem):
            raise Unreadable(reading.reason, f"{pointer(name, key)}: {reading.detail}", reading.remedy)
        if reading.sent_unit is None:
            values[key] = number
        else:
            values[key] = converted(number, reading, name, key)
            originals[key] = (number, reading.sent_unit)
        if reading.own_unit is not None:
            found.units[key] = reading.own_unit


def _read_plain(block: Members, plan: _Plan, name: str, found: Readings) -> None:
    """Read floats of known meaning: all at once, then those over again that came in another unit."""
    found.values.update(block)
    for key, reading, unit_name in plan.converted:
        found.values[key] = converted(block[key], reading, name, key)
        found.originals[key] = (block[key], unit_name)
    found.units.update(plan.own_units)


def _are_floats(numbers: Collection[object]) -> bool:
    """Whether all are finite decimal numbers; of a few so large that only their sum is not, no."""
    return _FLOATS.issuperset(map(type, numbers)) and isfinite(sum(cast(Collection[float], numbers)))


@lru_cache(maxsize=1024)
def _plan(keys: tuple[str, ...], units: tuple[tuple[str, str], ...], scope: Scope) -> _Plan | None:
    """How the numbers of these keys are read when units are given so; None where one has a problem."""
    unit_names, converted, own_units = dict(units), [], {}
    for key in keys:
        reading = how_to_read(key, unit_of(unit_names, key), scope)
        if isinstance(reading, Problem):
            return None
        if reading.sent_unit is not None:
            converted.append((key, reading, reading.sent_unit))
        if reading.own_unit is not None:
            own_units[key] = reading.own_unit
    return _Plan(tuple(converted), own_units)


def as_number(value: object, *path: str) -> float:
    """A JSON number as a finite float; zero is a value like any other."""
    kind = type(value)
    if kind is not float and kind is not int:
        raise wrong_type(pointer(*path), value, "a number without quotes, with a decimal point")
    try:
        number = float(value)  # type: ignore[arg-type]
    except OverflowError:
        number = float("inf")
    if not isfinite(number):
        raise not_finite(pointer(*path), number)
    return number


def read_units(members: Members) -> Members:
    """The ``units`` block of a message: unit names by key."""
    block = members.get("units")
    if block is None:
        return _NOTHING
    if type(block) is not dict:
        raise wrong_type("/units", block, "an object of unit names by key")
    for key, name in block.items():
        if type(name) is not str:
            raise wrong_type(pointer("units", key), name, "the unit's name in quotes, such as bar")
    return block


def unit_of(unit_names: Members, key: str) -> str | None:
    """Unit given for a key; one for ``barrel_temperature`` holds for all its zones."""
    if not unit_names:
        return None
    name: str | None = unit_names.get(key)
    return name if name is not None or "." not in key else unit_names.get(key.partition(".")[0])


def converted(number: float, reading: Reading, *path: str) -> float:
    """`number` in the canonical unit; one so large that it leaves the range of floats is refused."""
    result = number * reading.factor + reading.offset
    if not isfinite(result):
        raise not_finite(pointer(*path), result)
    return result


@lru_cache(maxsize=8192)
def how_to_read(key: str, unit_name: str | None, scope: Scope) -> Reading | Problem:
    """How to read a key's numbers sent in a unit (None: the canonical one), or why that cannot be."""
    if not _KEY.fullmatch(key):
        return _bad_key(key)
    quantity = find(key)
    name = None if unit_name is None else units.normal_name(unit_name)
    if unit_name is not None and name is None:
        return _unknown_unit(unit_name)
    if quantity is None:
        return _read_unknown(key, name)
    if scope not in quantity.applies_to:
        where = " or ".join(_WHERE[other] for other in sorted(quantity.applies_to))
        return Problem("unknown_key", f"{key} does not belong into {_WHERE[scope]}", f"send it with {where}")
    return _read_known(key, name or quantity.unit, quantity.unit)


def _read_known(key: str, name: str, canonical: str) -> Reading | Problem:
    line = units.linear(name, canonical)
    if line is None:
        return Problem(
            "unknown_unit",
            f"{name} does not measure {key}, which is in {canonical}",
            f"send it in {canonical} or a unit that converts to it",
        )
    return Reading(line[0], line[1], None if name == canonical else name, None)


def _read_unknown(key: str, name: str | None) -> Reading | Problem:
    if name is None:
        return Problem(
            "missing_unit",
            f"{key} is no known quantity and has no unit",
            "give its unit in the units member, or use a key of the quantities table",
        )
    canonical = units.canonical(name)
    line = units.linear(name, canonical)
    assert line is not None, "a unit converts to the canonical unit of its own kind"
    return Reading(line[0], line[1], None if name == canonical else name, canonical)


def _unknown_unit(unit_name: str) -> Problem:
    return Problem(
        "unknown_unit",
        f"{shown(unit_name)} is no unit that is known here",
        "use a name such as MPa, bar, psi, degC, degF, s, ms, mm, in, cm3, g, kN, or a UNECE Rec. 20 code",
    )


def _bad_key(key: str) -> Problem:
    return Problem(
        "unknown_key",
        f"{shown(key)} is no quantity name",
        "use small letters, digits and underscores, with a zone as .1 to .99",
    )


def _key_or_refuse(key: str, name: str) -> None:
    if not _KEY.fullmatch(key):
        problem = _bad_key(key)
        raise Unreadable(problem.reason, f"{pointer(name, key)}: {problem.detail}", problem.remedy)
