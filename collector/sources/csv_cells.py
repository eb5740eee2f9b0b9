"""Single cells of a CSV file: numbers with the declared decimal mark, texts, and the cells of a time."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from math import isfinite

from collector.contract.mapping import Column
from collector.contract.members import MAX_TEXT
from collector.contract.quantities import Scope
from collector.contract.readings import Problem, how_to_read
from collector.contract.unreadable import Unreadable, shown
from collector.sources.csv_rows import Row


@dataclass(frozen=True, slots=True)
class CellPlan:
    """How the cells of one column become values: worked out once a file, used once a row."""

    key: str
    index: int
    name: str
    factor: float
    offset: float
    sent_unit: str | None
    own_unit: str | None
    zero_is_missing: bool
    scale: float = 1.0


def plan_cell(column: Column, index: int, scope: Scope) -> CellPlan:
    """The plan for a column of a profile that stands at `index` in this file."""
    reading = how_to_read(column.key, column.unit, scope)
    assert not isinstance(reading, Problem), "the profile was checked when it was read"
    return CellPlan(
        key=column.key,
        index=index,
        name=str(column.column),
        factor=reading.factor,
        offset=reading.offset,
        sent_unit=reading.sent_unit,
        own_unit=reading.own_unit,
        zero_is_missing=column.zero_means_not_written,
        scale=column.factor,
    )


def canonical(value: float, plan: CellPlan) -> float:
    """`value` in the canonical unit.

    Raises
    ------
    Unreadable
        When it leaves the range of floats.
    """
    result = value * plan.factor + plan.offset
    if not isfinite(result):
        raise Unreadable(
            "not_finite", f"column {plan.name!r} holds {value}, too large for its unit", "mend the cell"
        )
    return result


def number(text: str, decimal_mark: str, column: str) -> float:
    """A cell as a finite number.

    Raises
    ------
    Unreadable
        ``wrong_decimal_mark``, ``not_finite`` or ``wrong_type``, naming the column.
    """
    value = _written(text, decimal_mark)
    if value is None:
        raise _no_number(text.strip(), decimal_mark, column)
    if not isfinite(value):
        raise Unreadable(
            "not_finite",
            f"column {column!r} holds {shown(text)}",
            "leave the cell empty when there is no value",
        )
    return value


def _written(text: str, decimal_mark: str) -> float | None:
    if decimal_mark == ".":
        return _float(text)
    return None if "." in text else _float(text.replace(",", "."))


def _float(text: str) -> float | None:
    try:
        value = float(text)
    except ValueError:
        return None
    return None if "_" in text else value  # float() takes 1_000, no press writes it


def _no_number(plain: str, decimal_mark: str, column: str) -> Unreadable:
    other = "." if decimal_mark == "," else ","
    if plain.count(other) == 1 and decimal_mark not in plain and _float(plain.replace(",", ".")) is not None:
        return Unreadable(
            "wrong_decimal_mark",
            f"column {column!r} holds {shown(plain)}, but the profile's decimal mark is {decimal_mark!r}",
            f"set decimal_mark = {other!r} in the profile, or export the file again",
        )
    return Unreadable(
        "wrong_type", f"column {column!r} holds {shown(plain)}, no number", "mend the cell or the mapping"
    )


def whole(text: str, decimal_mark: str, column: str) -> int:
    """A cell as a whole number from 0 on; spreadsheets write 251 as 251.0, or as 251,0 by the decimal mark.

    A point where the decimal mark is a comma parts thousands, and is refused: 1.000 is no count of one.

    Raises
    ------
    Unreadable
        When it is none.
    """
    value = _written(text.strip(), decimal_mark)
    if value is None or not isfinite(value) or value < 0 or value != int(value) or value > 2**53:
        raise Unreadable(
            "wrong_type", f"column {column!r} holds {shown(text)}, no count", "mend the cell or the mapping"
        )
    return int(value)


def printable(text: str, column: str, encoding: str) -> str:
    """`text` if it can be shown; bytes that are not in the declared encoding cannot.

    Raises
    ------
    Unreadable
        When the profile's encoding is most likely wrong.
    """
    if text.isprintable() and len(text) <= MAX_TEXT:
        return text
    raise Unreadable(
        "wrong_type", f"column {column!r} holds {shown(text)}", f"mend the profile's encoding, now {encoding}"
    )


def read_time(row: Row, places: Sequence[int], read: Callable[[str], datetime]) -> datetime:
    """The time in the cells at `places`, joined by a space.

    Raises
    ------
    Unreadable
        When they hold no time.
    """
    text = " ".join(row.cells[place] for place in places)
    try:
        return read(text)
    except (ValueError, OverflowError) as error:
        raise Unreadable(
            "wrong_type", f"{shown(text)} is no time of the declared order", "mend the profile's time section"
        ) from error
