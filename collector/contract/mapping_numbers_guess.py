"""Which numbers of a message are which quantities, in which unit, and which of them mean "not written"."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from collector.contract.mapping_numbers import MAX_ZONES
from collector.contract.mapping_pointer import Steps, write_pointer
from collector.contract.mapping_shape import Place
from collector.contract.mapping_units import guess_unit_of, is_plausible
from collector.contract.mapping_words import guess_key, guess_unit, guess_zone, other_words
from collector.contract.quantities import Scope, find

_SENTINELS = {0.0, -1.0, -99.0, -999.0, -9999.0, 999.0, 9999.0, 32767.0, -32768.0, 65535.0}
_WORDLESS = {"", "-", "--", "---", "n/a", "na", "nan", "null", "none"}
_POINT, _COMMA = re.compile(r"-?\d+(\.\d+)?"), re.compile(r"-?\d+(,\d+)?")


@dataclass(slots=True)
class NumberGuess:
    """A quantity at a place."""

    key: str
    scope: Scope
    place: Place
    unit: str
    unit_pointer: Steps | None = None
    item: str | None = None
    zones: bool = False
    decimal_mark: str | None = None
    not_written: list[Any] = field(default_factory=list)
    doubts: list[str] = field(default_factory=list)
    key_doubt: str | None = None


@dataclass(frozen=True, slots=True)
class _Numbers:
    """The numbers at a place, and what stood there instead of a number."""

    numbers: list[float]
    decimal_mark: str | None
    wordless: list[str]


def guess_number(place: Place) -> NumberGuess | None:
    """The quantity at a place, None when nothing tells it."""
    named = guess_key(place.names)
    if named is None:
        return None
    key, scope = named
    zoned = (quantity := find(key)) is not None and quantity.zoned
    values, item, lists = _zone_values(place.values)
    if lists and not zoned:
        return None
    found = _numbers(values)
    if found is None or not found.numbers:
        return None
    doubts = []
    if zoned and not lists:
        zone = guess_zone(place.names)
        if zone is None:
            doubts.append("it is taken for zone 1, its name has no number")
        key = f"{key}.{zone or 1}"
    guess = NumberGuess(key, scope, place, "", None, item, lists)
    more = other_words(key, place.names[-1])
    if more:
        guess.key_doubt = f"the name also says {' '.join(more)}"
    return _with_unit(guess, found, doubts)


def _with_unit(guess: NumberGuess, found: _Numbers, doubts: list[str]) -> NumberGuess:
    place = guess.place
    key = f"{guess.key}.1" if guess.zones else guess.key
    kept = [number for number in found.numbers if number not in _SENTINELS] or found.numbers
    named = place.unit or next((unit for name in reversed(place.names) if (unit := guess_unit(name))), None)
    told = guess_unit_of(key, kept, named)
    left = sorted({n for n in found.numbers if n in _SENTINELS and not is_plausible(key, n, told.unit)})
    guess.unit, guess.unit_pointer = told.unit, place.unit_steps
    guess.decimal_mark = found.decimal_mark
    guess.not_written = [*left, *found.wordless] if len(left) < len(set(found.numbers)) else found.wordless
    guess.doubts = [*([told.doubt] if told.doubt else []), *doubts]
    if guess.not_written:
        guess.doubts.append(f"{guess.not_written!r} is taken for no value")
    elif 0.0 in found.numbers:
        guess.doubts.append("0 came; if it means no value, add not_written = [0]")
    if len(set(found.numbers)) == 1 and len(found.numbers) > 5:
        guess.doubts.append("it never changed")
    if guess.key == "peak_melt_pressure" and "melt" not in "/".join(place.names).lower():
        guess.doubts.append("is it the pressure of the melt, or of the hydraulic oil?")
    return guess


def _zone_values(values: Sequence[Any]) -> tuple[list[Any], str | None, bool]:
    """Numbers of a list with the pointer inside its items, or the plain values."""
    if not values or not all(isinstance(value, list) for value in values):
        return list(values), None, False
    items = [item for value in values for item in value if item is not None]
    if not items or max(map(len, values)) > MAX_ZONES:
        return [], None, True
    if not all(isinstance(item, dict) for item in items):
        return items, None, True
    chosen = _member_of_zones(items[0])
    if chosen is None:
        return [], None, True
    return [item[chosen] for item in items if chosen in item], write_pointer((chosen,)), True


def _member_of_zones(item: dict[str, Any]) -> str | None:
    """The member of a zone that holds its temperature."""
    names = [name for name, value in item.items() if type(value) in {int, float}]
    usual = [name for name in names if name.lower() in {"act", "actual", "value", "temp", "t"}]
    others = [name for name in names if name.lower() not in {"zone", "no", "id", "nr"}]
    return next(iter(usual or others), None)


def _numbers(values: Sequence[Any]) -> _Numbers | None:
    """Values as numbers; None when some are neither numbers nor stand for none."""
    if any(isinstance(value, bool) or not isinstance(value, int | float | str) for value in values):
        return None
    texts = [value for value in values if isinstance(value, str)]
    wordless = list(dict.fromkeys(each for each in texts if each.strip().lower() in _WORDLESS))
    written = [each.strip() for each in texts if each not in wordless]
    mark = _decimal_mark(written)
    if written and mark is None:
        return None
    numbers = [_as_float(value) for value in values if not isinstance(value, str)]
    numbers += [float(each.replace(",", ".")) for each in written]
    return None if None in numbers else _Numbers([n for n in numbers if n is not None], mark, wordless)


def _decimal_mark(written: Sequence[str]) -> str | None:
    for mark, expression in ((".", _POINT), (",", _COMMA)):
        if written and all(len(each) < 50 and expression.fullmatch(each) for each in written):
            return mark
    return None


def _as_float(value: float) -> float | None:
    try:
        return float(value)
    except OverflowError:
        return None
