"""Single cells of a CSV file: numbers with the declared decimal mark, texts, and the cells of a time."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from math import isfinite

from collector.contract.mapping import Column
from collector.contract.marks import DecimalMark, Marks, ThousandsMark
from collector.contract.members import MAX_TEXT
from collector.contract.quantities import Scope
from collector.contract.readings import Problem, how_to_read
from collector.contract.times import LeftOut
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


def number(text: str, marks: Marks, column: str) -> float:
    """A cell as a finite number.

    Raises
    ------
    Unreadable
        ``wrong_decimal_mark``, ``not_finite`` or ``wrong_type``, naming the column.
    """
    value = _written(text, marks)
    if value is None:
        raise _no_number(text.strip(), marks, column)
    if not isfinite(value):
        raise Unreadable(
            "not_finite",
            f"column {column!r} holds {shown(text)}",
            "leave the cell empty when there is no value",
        )
    return value


def _written(text: str, marks: Marks) -> float | None:
    plain = marks.plain(text)
    return None if plain is None else _float(plain)


def _float(text: str) -> float | None:
    try:
        value = float(text)
    except ValueError:
        return None
    return None if "_" in text else value  # float() takes 1_000, no press writes it


def _no_number(plain: str, marks: Marks, column: str) -> Unreadable:
    remedy = _other_marks(plain, marks)
    if remedy is not None:
        parted = "" if marks.thousands is None else f" and its thousands mark {marks.thousands!r}"
        return Unreadable(
            "wrong_decimal_mark",
            f"column {column!r} holds {shown(plain)}, but the profile's decimal mark is "
            f"{marks.decimal!r}{parted}",
            f"{remedy}, or export the file again",
        )
    return Unreadable(
        "wrong_type", f"column {column!r} holds {shown(plain)}, no number", "mend the cell or the mapping"
    )


def _other_marks(plain: str, marks: Marks) -> str | None:
    """What to set in the profile, where other marks would read a number; where two would, both are said."""
    other: DecimalMark = "," if marks.decimal == "." else "."
    signs: tuple[ThousandsMark, ...] = (other, "'", " ")
    parted = next((sign for sign in signs if Marks(marks.decimal, sign).is_grouped(plain)), None)
    if marks.thousands is None and parted is not None:
        doubtful = parted == other and plain.count(other) == 1 and marks.decimal not in plain
        also = f"; or decimal_mark = {other!r}, if it is that" if doubtful else ""
        return f"set thousands_mark = {parted!r} in the profile, if {parted!r} parts thousands there{also}"
    if marks.thousands == other and other in plain:
        return f"mend the cell: where thousands are parted, {other!r} stands before groups of three digits"
    swapped = Marks(other, marks.decimal)
    if swapped.is_grouped(plain):
        return f"set decimal_mark = {other!r} and thousands_mark = {marks.decimal!r} in the profile"
    if plain.count(other) == 1 and _written(plain, Marks(other)) is not None:
        return f"set decimal_mark = {other!r} in the profile"
    return None


def whole(text: str, marks: Marks, column: str) -> int:
    """A cell as a whole number from 0 on; spreadsheets write 251 as 251.0, or as 251,0 by the decimal mark.

    A point where the decimal mark is a comma parts thousands, and is refused where the profile does not say
    so: 1.000 is no count of one.

    Raises
    ------
    Unreadable
        When it is none.
    """
    value = _written(text.strip(), marks)
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
    except LeftOut as error:
        raise Unreadable(
            "wrong_type", f"{shown(text)} is a time that {error}",
            "mend the profile's zone or order, or write what the clock should have shown",
        ) from error
    except (ValueError, OverflowError) as error:
        raise Unreadable(
            "wrong_type", f"{shown(text)} is no time of the declared order", "mend the profile's time section"
        ) from error
