"""The numbers of a foreign message: found, told apart from "not written", scaled, with their units."""

from __future__ import annotations

from typing import Any, Literal

from collector.contract.mapping_mapped import ABSENT, Mapped, is_unwritten, look, read_text
from collector.contract.mapping_model import NUMBERS, ValueAt
from collector.contract.mapping_pointer import NoSuchValue, Steps, parse_pointer, resolve
from collector.contract.members import kind_of
from collector.contract.unreadable import shown

MAX_ZONES = 99  # keys end in .1 to .99
Number = float | int


def read_blocks(made: Mapped, document: Any) -> None:
    """Add ``values`` and ``setpoints`` with their units to the members.

    Raises
    ------
    Unreadable
        When one is no number, or all of the block that the kind must have are missing.
    """
    units: dict[str, str] = {}
    _block(made, "values", made.mapping.values, document, units)
    _block(made, "setpoints", made.mapping.setpoints, document, units)
    if units:
        made.members["units"] = units


def read_gauging(made: Mapped, document: Any) -> None:
    """Add the one number of a gauging to the members.

    Raises
    ------
    Unreadable
        When it is missing or no number.
    """
    (place,) = made.mapping.values
    for key, where, found in _found(made, place, document):
        number, units = _scaled(made, place, where, found), dict[str, str]()
        _note_unit(made, place, key, document, units)
        if number is not None:
            made.members.update(characteristic=key, value=number)
            made.origins["value",] = where
            if key in units:
                made.members["unit"] = units[key]
            return
    raise made.missing(document, place.pointer, place.key)


def read_number(made: Mapped, where: str, found: Any, decimal_mark: str | None = None) -> Number:
    """A JSON number, or where the mapping allows it one that is sent in quotes."""
    if type(found) in {int, float}:
        number: Number = found
        return number
    if decimal_mark is None or type(found) is not str or len(found) > 100:
        hint = ", or set decimal_mark in the mapping" if type(found) is str else ""
        raise made.refusal(where, f"is {kind_of(found)}", f"send a number without quotes{hint}")
    plain = found.strip()
    if decimal_mark == ",":
        plain = "" if "." in plain else plain.replace(",", ".")
    try:
        return float("" if "_" in plain else plain)
    except ValueError:
        raise made.refusal(
            where, f"is the text {shown(found)}", f"send a number with the decimal mark {decimal_mark}"
        ) from None


def _block(
    made: Mapped,
    block: Literal["values", "setpoints"],
    places: tuple[ValueAt, ...],
    document: Any,
    units: dict[str, str],
) -> None:
    numbers: dict[str, Number | None] = {}
    for place in places:
        for key, where, found in _found(made, place, document):
            numbers[key] = _scaled(made, place, where, found)
            made.origins[block, key] = where
            _note_unit(made, place, key, document, units)
    if numbers:
        made.members[block] = numbers
    elif NUMBERS[made.mapping.kind] == block:
        raise made.missing(
            document, places[0].pointer, f"the first of {len(places)} {block}, none of which is there"
        )


def _found(made: Mapped, place: ValueAt, document: Any) -> list[tuple[str, str, Any]]:
    """Key, pointer and raw value; several for a list of zones, none when there is nothing."""
    found = look(document, place.pointer)
    if place.required and (found is ABSENT or found is None or is_unwritten(found, place.not_written)):
        raise made.missing(document, place.pointer, place.key)
    if found is ABSENT:
        made.absent.append(place.pointer)
        return []
    if not place.zones:
        return [(place.key, place.pointer, found)]
    if found is None:
        return []
    if type(found) is not list or len(found) > MAX_ZONES:
        what = f"is a list of {len(found)}" if type(found) is list else f"is {kind_of(found)}"
        raise made.refusal(place.pointer, what, f"send a list of up to {MAX_ZONES} zones")
    inner = parse_pointer(place.item)
    return [
        (f"{place.key}.{number + 1}", f"{place.pointer}/{number}{place.item}", _inside(item, inner))
        for number, item in enumerate(found)
    ]


def _inside(item: Any, inner: Steps) -> Any:
    """What stands in a zone; a zone with nothing there has no value."""
    try:
        return resolve(item, inner)
    except NoSuchValue:
        return None


def _scaled(made: Mapped, place: ValueAt, where: str, found: Any) -> Number | None:
    if found is None or is_unwritten(found, place.not_written):
        return None
    number = read_number(made, where, found, place.decimal_mark)
    if place.factor == 1.0 and place.offset == 0.0:
        return number
    try:
        return number * place.factor + place.offset
    except OverflowError:
        raise made.refusal(
            where, "is too large a number", "send a number that fits", "not_finite"
        ) from None


def _note_unit(made: Mapped, place: ValueAt, key: str, document: Any, units: dict[str, str]) -> None:
    unit = place.unit
    if place.unit_pointer is not None:
        named = look(document, place.unit_pointer)
        if named is not ABSENT and named is not None:
            unit = read_text(made, place.unit_pointer, named)
    if unit is None:
        return
    if units.setdefault(key, unit) != unit:
        raise made.refusal(
            place.pointer,
            f"({key}) is in {unit} and in {units[key]} in one message",
            "bring value and setpoint to one unit with factor in the mapping",
            "unknown_unit",
        )
