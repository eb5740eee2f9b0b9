"""Where the names stand, which rows under them are units, and where the data begin."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from collector.errors import UserError
from collector.sources import csv_lines, csv_totals
from collector.sources.inspection import cells, unit_text
from collector.sources.inspection.dialect import Cut, RawRow
from collector.sources.inspection.doubts import Doubts
from collector.sources.inspection.totals import find_totals

MOST_HEADER_ROWS = 4


@dataclass(frozen=True, slots=True)
class Head:
    """The header: lines above it, its rows, names, units, cells that may come again, groups of columns."""

    skip_rows: int
    header_rows: int
    brackets: bool
    names: list[str]
    units: list[str | None]
    cells: set[tuple[str, ...]]
    groups: list[str]


@dataclass(frozen=True, slots=True)
class Layout:
    """The header of a file, its data rows as far as sampled, how often the header came again, and totals."""

    head: Head
    rows: list[list[str]]
    later: list[list[str]]
    headers_again: int
    totals: list[str]


def find_layout(cut: Cut, name: str, doubts: Doubts) -> Layout:
    """Find header and data.

    Raises
    ------
    UserError
        When there are no rows under the header, or no column of numbers.
    """
    filled = [row for row in cut.head if any(cell.strip() for cell in row.cells)]
    numeric = _numeric_columns(filled, cut.width)
    first = next((i for i, row in enumerate(filled) if _is_data(row, numeric, cut.width)), None)
    if first is None:
        raise _nothing_numeric(filled, name)
    above, data = filled[:first], filled[first:]
    width = _width(cut, above, [row for row in data if _is_data(row, numeric, cut.width)])
    block = _header_block(above, cut, width)
    head = _head(cut, above, block, width, doubts) if block else _no_head(above, data, width, doubts)
    return _layout(cut, data, head, doubts)


def _numeric_columns(rows: Sequence[RawRow], width: int) -> set[int]:
    """Columns that hold numbers or times in most of the later rows."""
    same = [row.cells for row in rows if len(row.cells) == width]
    later = same[len(same) // 2 :]
    found = set()
    for column in range(width):
        written = [row[column] for row in later if row[column].strip()]
        if written and 2 * sum(map(cells.is_datum, written)) >= len(written):
            found.add(column)
    has_number = any(cells.is_number(row[column]) for row in later for column in found)
    return found if has_number else set()


def _nothing_numeric(rows: Sequence[RawRow], name: str) -> UserError:
    if len(rows) <= MOST_HEADER_ROWS:
        return UserError(f"{name} has only a header and no rows under it; export it again with the shots")
    return UserError(
        f"{name} has no column of numbers, so it is no table of shots or gaugings; give a press's export"
    )


def _is_data(row: RawRow, numeric: set[int], width: int) -> bool:
    if len(row.cells) != width:
        return False
    written = [row.cells[column] for column in numeric if row.cells[column].strip()]
    return bool(written) and 2 * sum(map(cells.is_datum, written)) > len(written)


def _width(cut: Cut, above: Sequence[RawRow], data: Sequence[RawRow]) -> int:
    """Rows may have a delimiter more at their end than the header; then the header is right."""
    names = len(_split(above[-1], cut)[0]) if above else cut.width
    spare = not any(any(row.cells[names:]) for row in data)
    return names if 1 < names < cut.width and spare else cut.width


def _split(row: RawRow, cut: Cut) -> tuple[list[str], bool]:
    """The names in a row, and whether a delimiter within brackets belongs to one of them."""
    text = csv_lines.unwrapped(row.text, cut.delimiter) if cut.wrapped else row.text
    names = csv_lines.split_names(text, cut.delimiter)
    return (row.cells, False) if names is None or len(names) == len(row.cells) else (names, True)


def _names(row: RawRow, cut: Cut, width: int) -> tuple[list[str], bool] | None:
    """The same for a row that has as many names as the data have cells."""
    names, brackets = _split(row, cut)
    fits = len(names) == width or (len(names) > width and not any(names[width:]))
    return (names, brackets) if fits else None


def _header_block(above: Sequence[RawRow], cut: Cut, width: int) -> list[RawRow]:
    """The rows from the first possible header row to the data."""
    for place, row in enumerate(above[-MOST_HEADER_ROWS:], start=max(0, len(above) - MOST_HEADER_ROWS)):
        if _names(row, cut, width) is not None:
            return list(above[place:])
    return []


def _head(cut: Cut, above: Sequence[RawRow], block: Sequence[RawRow], width: int, doubts: Doubts) -> Head:
    split = [(_names(row, cut, width) or ([], False)) for row in block]
    of_units = [_is_units(names) for names, _ in split]
    rest = [i for i in range(len(block)) if not of_units[i] and split[i][0]] or [0]
    chosen = max(rest, key=lambda i: (len({name for name in split[i][0] if name.strip()}), -i))
    if len(rest) > 1:
        doubts.add(
            "header_rows",
            "of several rows above the data, the one with the most names is taken for the header",
        )
    skip = block[chosen].line - 1
    if any(row.line <= skip for row in above):
        doubts.add("skip_rows", f"what stands above line {skip + 1} is passed over: it holds no names")
    beside = next((names for (names, _), is_units in zip(split, of_units, strict=True) if is_units), [])
    units = [unit_text.as_unit(text) for text in beside[:width]] or [None for _ in range(width)]
    names, brackets = split[chosen]
    again = {tuple(row.cells) for row in block}
    groups = _groups(above, block[chosen], width)
    return Head(skip, len(block) - chosen, brackets, names[:width], units, again, groups)


def _groups(above: Sequence[RawRow], header: RawRow, width: int) -> list[str]:
    """What the row above the header says of several columns at once; a name holds until the next one."""
    before = next((row.cells for row in reversed(above) if row.line < header.line), [])
    if len(before) < width:
        return [""] * width
    groups, group = [], ""
    for cell in before[:width]:
        group = cell.strip() or group
        groups.append(group)
    return groups


def _is_units(names: Sequence[str]) -> bool:
    written = [name for name in names if name.strip()]
    return bool(written) and sum(unit_text.as_unit(name) is not None for name in written) * 2 > len(written)


def _no_head(above: Sequence[RawRow], data: Sequence[RawRow], width: int, doubts: Doubts) -> Head:
    if above:
        doubts.add("skip_rows", f"no row above the data has {width} names, so columns are named by number")
    names = [str(number) for number in range(1, width + 1)]
    skip = data[0].line - 1 if above else 0
    units: list[str | None] = [None for _ in names]
    return Head(skip, 0, brackets=False, names=names, units=units, cells=set(), groups=[""] * width)


def _layout(cut: Cut, data: Sequence[RawRow], head: Head, doubts: Doubts) -> Layout:
    totals = find_totals([*data, *cut.later], doubts)
    rows, again, ragged = _even(_without(totals, data), head)
    later, again_later, ragged_later = _even(_without(totals, cut.later), head)
    ragged += ragged_later
    if ragged:
        doubts.add(
            "delimiter",
            f"{ragged} of {ragged + len(rows) + len(later)} sampled rows do not have {len(head.names)} cells "
            "and will be refused",
        )
    # Each row of the header came again; they are told as one.
    headers_again = -(-(again + again_later) // max(1, len(head.cells)))
    return Layout(head, rows, later, headers_again, totals)


def _without(totals: Sequence[str], rows: Sequence[RawRow]) -> list[RawRow]:
    return [row for row in rows if csv_totals.label(row.cells) not in totals]


def _even(found: Sequence[RawRow], head: Head) -> tuple[list[list[str]], int, int]:
    """Rows with as many cells as names; how many others were header rows again, and how many ragged."""
    rows, again, ragged, width = [], 0, 0, len(head.names)
    for row in found:
        if tuple(row.cells) in head.cells:
            again += 1
        elif not any(cell.strip() for cell in row.cells):
            continue
        elif len(row.cells) < width or any(row.cells[width:]):
            ragged += 1
        else:
            rows.append(row.cells[:width])
    return rows, again, ragged
