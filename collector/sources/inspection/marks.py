"""The decimal mark of a file, and the mark between its thousands, from all its columns at once.

A comma or point before three digits may be either: 10,728 psi, or 10.728. What other cells have decides;
where there are only such cells, what is usual for the quantities of their columns.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from statistics import median

from collector.contract.marks import DecimalMark, Marks, ThousandsMark
from collector.sources.inspection import cells
from collector.sources.inspection.doubts import Doubts
from collector.sources.inspection.mapping import as_candidate
from collector.sources.inspection.ranges import is_usual
from collector.sources.inspection.table import SampledColumn

__all__ = ["find_marks"]

_EITHER = re.compile(r"[+-]?[1-9]\d{0,2}([.,])\d{3}")
_OTHER: dict[str, DecimalMark] = {",": ".", ".": ","}
_ALL = (Marks(",", "."), Marks(".", ","), *(Marks(mark, sign) for sign in "' " for mark in (".", ",")))  # type: ignore[arg-type]


@dataclass(slots=True)
class _Seen:
    """Cells by what they show: decimals for sure, thousands for sure, either of both."""

    decimals: Counter[str] = field(default_factory=Counter)
    thousands: Counter[Marks] = field(default_factory=Counter)
    either: Counter[str] = field(default_factory=Counter)
    example: dict[str, str] = field(default_factory=dict)

    def add(self, text: str) -> None:
        either = _EITHER.fullmatch(text)
        if either is not None:
            self.either[either[1]] += 1
            self.example.setdefault(either[1], text)
        elif cells.POINT.fullmatch(text) or cells.COMMA.fullmatch(text):
            self.decimals.update(sign for sign in ".," if sign in text)
        elif (marks := next((each for each in _ALL if each.is_grouped(text)), None)) is not None:
            self.thousands[marks] += 1
            self.example[f"{marks.thousands} for sure"] = text


def find_marks(columns: Sequence[SampledColumn], doubts: Doubts) -> Marks:
    """The marks of the numbers of columns that hold no times."""
    seen = _Seen()
    for column in columns:
        for text in column.texts:
            seen.add(text.strip())
    # A sign that stands before decimals elsewhere parts no thousands: 123.456.789 is then a part's number.
    parted = [marks for marks, _ in seen.thousands.most_common() if not seen.decimals[marks.thousands or ""]]
    if parted:
        return _for_sure(parted[0], seen, doubts)
    if not seen.decimals and not seen.either:
        doubts.add("decimal_mark", "no sampled cell has decimals, so the decimal mark is a guess")
    if len(seen.decimals) > 1:
        return _mixed(seen, doubts)
    if seen.decimals:
        return _beside_decimals(seen, next(iter(seen.decimals)), doubts)
    return _by_magnitude(columns, seen, doubts)


def _for_sure(marks: Marks, seen: _Seen, doubts: Doubts) -> Marks:
    if marks.thousands not in _OTHER and not seen.decimals["."] and seen.decimals[","] + seen.either[","] > 0:
        marks = Marks(",", marks.thousands)
    example = seen.example[f"{marks.thousands} for sure"]
    doubts.add("thousands_mark", f"cells such as {example!r} have {marks.thousands!r} between thousands")
    return marks


def _mixed(seen: _Seen, doubts: Doubts) -> Marks:
    commas, points = seen.decimals[","], seen.decimals["."]
    mark: DecimalMark = "," if commas > points else "."
    doubts.add(
        "decimal_mark",
        f"{commas} sampled cells have a decimal comma and {points} a decimal point; "
        f"those without {mark!r} will be refused",
    )
    return Marks(mark)


def _beside_decimals(seen: _Seen, mark: str, doubts: Doubts) -> Marks:
    """Where one sign is the decimal mark for sure, the other one can only part thousands."""
    decimal = _OTHER[_OTHER[mark]]
    if not seen.either[_OTHER[mark]]:
        return Marks(decimal)
    return _parted(_OTHER[mark], f"since {mark!r} is the decimal mark of others", seen, doubts)


def _by_magnitude(columns: Sequence[SampledColumn], seen: _Seen, doubts: Doubts) -> Marks:
    for sign in (",", "."):
        votes = [vote for column in columns if (vote := _vote(column, sign)) != 0]
        if seen.either[sign] and sum(votes) > 0:
            return _parted(sign, "because their values are usual so", seen, doubts)
        if seen.either[sign] and (not votes or max(votes) > 0):
            doubts.add(
                "decimal_mark",
                f"cells such as {seen.example[sign]!r} may have {sign!r} as their decimal mark, as is taken, "
                f"or between thousands: then set thousands_mark = {sign!r}, decimal_mark = {_OTHER[sign]!r}",
            )
    return Marks("," if seen.either[","] > seen.either["."] else ".")


def _vote(column: SampledColumn, sign: str) -> int:
    """1 where a column speaks for thousands, -1 where it speaks for decimals, 0 where it tells nothing."""
    parted = [text.strip() for text in column.texts if _has(text, sign)]
    if not parted:
        return 0
    plain = [text for text in map(str.strip, column.texts) if re.fullmatch(r"[1-9]\d\d", text)]
    if plain:  # 998 and 1,004: with three decimals it would be 998,000
        return 1
    decimal = median(float(text.replace(",", ".")) for text in parted)
    return _is_usual(column, decimal * 1000) - _is_usual(column, decimal)


def _has(text: str, sign: str) -> bool:
    found = _EITHER.fullmatch(text.strip())
    return found is not None and found[1] == sign


def _is_usual(column: SampledColumn, value: float) -> bool:
    candidate = as_candidate(column)
    range_ = candidate.range
    return range_ is not None and any(is_usual(range_, value, unit) for unit in candidate.possible_units)


def _parted(sign: str, why: str, seen: _Seen, doubts: Doubts) -> Marks:
    thousands: ThousandsMark = _OTHER[_OTHER[sign]]
    doubts.add(
        "thousands_mark",
        f"cells such as {seen.example[sign]!r} are read with {sign!r} between thousands, {why}; "
        f"were it their decimal mark, take thousands_mark out and set decimal_mark = {sign!r}",
    )
    return Marks(_OTHER[sign], thousands)
