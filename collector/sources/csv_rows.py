"""The rows of a CSV file with the bytes they came from; a row of the wrong length is refused by itself.

Every line is a row: a quoted cell does not run over the end of its line. RFC 4180 would allow it, presses
do not write it, and a lost quote would otherwise swallow the rest of the file. Lines that a press wrapped are
put together where the profile says so, as it says how names are split and which end of the file is newest.
"""

from __future__ import annotations

import csv
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import islice
from typing import TextIO, TypeVar

from collector.contract.mapping import ColumnName, Profile
from collector.contract.refusal import Reason, Refusal
from collector.contract.unreadable import Unreadable, shown
from collector.sources import csv_lines, csv_totals
from collector.sources.csv_lines import Line

MARK = "\ufeff"  # byte order mark
COLUMNS_TOLD = 20
BLOCK = 500
_MAY_BREAK_OFF = ("utf-16", "utf-32", "utf-7", "iso2022")  # what is no sign of these is not to be escaped

Table = list[list[str]]
Found = TypeVar("Found")


@dataclass(frozen=True, slots=True)
class Row:
    """One data row: its number from 0, the line it stands on, its cells and its text."""

    index: int
    line: int
    cells: Sequence[str]
    text: str


class CsvRows:
    """Rows of one file, read as they are asked for.

    Parameters
    ----------
    file : TextIO
        Opened with ``newline=""`` and ``errors="surrogateescape"``, so that bytes that are not in the
        declared encoding reach the refusal unchanged.
    name : str
        Name of the file, for positions.
    profile : Profile
        How the file is written.
    received_at : datetime
        Time of the import.
    passed_over : callable
        Called with the line of each row of totals.
    """

    def __init__(
        self,
        file: TextIO,
        name: str,
        profile: Profile,
        received_at: datetime,
        passed_over: Callable[[int], None] = lambda _line: None,
    ) -> None:
        self._profile = profile
        self._name = name
        self._received_at = received_at
        self._passed_over = passed_over
        self._totals = frozenset(map(csv_totals.plain, profile.total_rows))
        self._file = file
        self._line = 0
        self._index = 0
        self._continues = csv_lines.continuation(profile.delimiter)
        self._heads: set[str] = set()  # texts of the header's rows: where they come again they are no data
        self.header = self._read_header()

    def find(self, columns: Sequence[ColumnName]) -> dict[ColumnName, int]:
        """Place of each column.

        Raises
        ------
        Unreadable
            When one is missing or stands twice, with the columns that the file has.
        """
        missing = [column for column in columns if self._place(column) is None]
        if missing and not self.header:
            raise Unreadable(
                "bad_file",
                f"{self._name} has no header: it is empty, or broken at its beginning",
                "export the file again, or mend the profile's encoding and skip_rows",
            )
        if missing:
            raise Unreadable(
                "missing_column",
                f"{self._name} has no column {', '.join(map(repr, missing))}",
                f"mend the profile; the columns are {_told(self.header)}",
            )
        return {column: place for column in columns if (place := self._place(column)) is not None}

    def __iter__(self) -> Iterator[Row | Refusal]:
        """Yield data rows and refusals; empty lines, repeated headers and totals are passed over."""
        try:
            yield from self._each(self._lines())
        except UnicodeDecodeError as error:
            yield self.refuse(
                "bad_file",
                f"the file stops being {self._profile.encoding} after this line ({error.reason})",
                "copy the file again, or mend the profile's encoding",
                b"",
            )

    def in_blocks(
        self, read: Callable[[Table, int], Sequence[Found] | None]
    ) -> Iterator[Found | Row | Refusal]:
        """Yield what `read` makes of many rows at once; where it makes nothing of them, the rows themselves.

        Parameters
        ----------
        read : callable
            Gets rows that all have a cell for each column, and the number of the first, from 0.
        """
        if self._profile.wrapped_lines or self._file.encoding.startswith(_MAY_BREAK_OFF):
            yield from self  # lines are no rows, or may end the file in the midst of a block
            return
        lines = self._lines()
        while block := list(islice(lines, BLOCK)):
            table = self._table([text for _, text in block])
            found = None if table is None else read(table, self._index)
            if found is None:
                yield from self._each(block)
            else:
                self._index += len(block)
                yield from found

    def _each(self, lines: Iterable[Line]) -> Iterator[Row | Refusal]:
        for line, text in lines:
            self._line = line
            row = self._row(text, self._index)
            if row is not None:
                yield row
                self._index += 1

    def _table(self, texts: Sequence[str]) -> Table | None:
        """The cells of lines of which each is a row of the right length, else None."""
        try:
            table = list(csv.reader(texts, delimiter=self._profile.delimiter, strict=True))
        except csv.Error:
            return None
        # A quote that runs over the end of a line would make fewer rows.
        plain = len(table) == len(texts) and {len(row) for row in table} == {len(self.header)}
        return table if plain and not (self._totals and any(map(self._is_total, table))) else None

    def _row(self, text: str, index: int) -> Row | Refusal | None:
        plain = text.removeprefix(MARK)  # where files were put one after the other
        try:
            cells = self._cells(plain)
        except csv.Error as error:
            return self.refuse("bad_file", str(error), "mend the quotes of this row", self.raw(text))
        if not cells or self._is_header(cells, plain):
            return None
        if self._profile.skip_blank_rows and not any(cell.strip() for cell in cells):
            return None
        if self._is_total(cells):
            self._passed_over(self._line)
            return None
        if len(cells) != len(self.header):
            cells = self._evened(cells)
        if len(cells) == len(self.header):
            return Row(index, self._line, cells, text)
        return None if csv_lines.is_blank(text, self._profile.delimiter) else self._ragged(len(cells), text)

    def _is_header(self, cells: list[str], text: str) -> bool:
        """Whether the header comes again; a file without one has numbers for names, which may be data."""
        return bool(self._heads) and (cells == self.header or text.rstrip("\r\n") in self._heads)

    def _is_total(self, cells: Sequence[str]) -> bool:
        return bool(self._totals) and csv_totals.label(cells) in self._totals

    def refuse(
        self, reason: Reason, detail: str, remedy: str, raw: bytes, line: int | None = None
    ) -> Refusal:
        """A refusal at a line, the current one by default."""
        line = self._line if line is None else line
        return Refusal(
            reason=reason,
            detail=f"line {line}: {detail}",
            remedy=remedy,
            raw=raw,
            source=self._name,
            position=f"{self._name}:{line}",
            topic=None,
            received_at=self._received_at,
        )

    def _lines(self) -> Iterator[Line]:
        if not self._profile.newest_first:
            lines = csv_lines.forward(self._file, self._line)
            return csv_lines.joined(lines, self._continues) if self._profile.wrapped_lines else lines
        lines = csv_lines.from_the_end(self._file, self._line)
        wrapped = self._profile.wrapped_lines
        return csv_lines.joined_from_the_end(lines, self._continues) if wrapped else lines

    def _cells(self, text: str) -> list[str]:
        if self._profile.wrapped_lines:
            text = csv_lines.unwrapped(text, self._profile.delimiter)
        return next(csv.reader((text,), delimiter=self._profile.delimiter, strict=True), [])

    def _evened(self, cells: list[str]) -> list[str]:
        """A delimiter too many at the end of rows, or of the header, tells nothing and loses nothing."""
        count = len(self.header)
        if len(cells) > count and not any(cells[count:]):
            return cells[:count]
        lacking = self.header[len(cells) :]
        return [*cells, *lacking] if lacking and not any(lacking) else cells

    def raw(self, text: str) -> bytes:
        """The bytes of a line as they stand in the file."""
        encoding = self._file.encoding.removesuffix("-sig")
        return text.encode(encoding, errors=self._file.errors or "strict")

    def text(self, raw: bytes) -> str:
        """What bytes of the file say; the reverse of `raw`, but for a sign that is cut."""
        encoding = self._file.encoding.removesuffix("-sig")
        try:
            return raw.decode(encoding, errors=self._file.errors or "strict")
        except UnicodeDecodeError:
            return ""

    def _read_header(self) -> list[str]:
        try:
            for _ in range(self._profile.skip_rows):
                self._next_line()
            rows = [self._next_row() for _ in range(self._profile.header_rows)]
        except UnicodeDecodeError:
            return []
        if not rows:
            return [str(number) for number in range(1, (self._profile.column_count or 0) + 1)]
        self._heads = {row.rstrip("\r\n") for row in rows if not row.isspace()}
        try:
            return self._names(rows[0])
        except csv.Error:
            return []

    def _names(self, text: str) -> list[str]:
        if self._profile.brackets_in_names:
            delimiter = self._profile.delimiter
            whole = csv_lines.unwrapped(text, delimiter) if self._profile.wrapped_lines else text
            names = csv_lines.split_names(whole, delimiter)
            if names is not None:
                return names
        return self._cells(text)

    def _next_line(self) -> str:
        text = self._file.readline()
        self._line += text != ""
        return text

    def _next_row(self) -> str:
        """The next line that is not empty, with those that continue it."""
        text = self._next_line()
        while text and csv_lines.is_blank(text, self._profile.delimiter):
            text = self._next_line()
        while self._profile.wrapped_lines:
            place = self._file.tell()
            more = self._file.readline()
            if not self._continues(more):
                self._file.seek(place)
                break
            self._line += 1
            text += more
        return text

    def _place(self, column: ColumnName) -> int | None:
        name = str(column)
        count = self.header.count(name)
        if count == 0 and isinstance(column, int) and 1 <= column <= len(self.header):
            return column - 1
        if count > 1:
            raise Unreadable(
                "duplicate_key",
                f"{self._name} has the column {name!r} twice",
                "name it by its number, counted from 1, or rename one of the two",
            )
        return self.header.index(name) if count else None

    def _ragged(self, count: int, text: str) -> Refusal:
        return self.refuse(
            "ragged_row",
            f"{count} cells where the file has {len(self.header)} columns, in {shown(text)}",
            "mend the row; a decimal comma in a comma-separated file splits cells",
            self.raw(text),
        )


def _told(names: Sequence[str]) -> str:
    """The columns of a file, as many as still read as one sentence."""
    more = len(names) - COLUMNS_TOLD
    told = ", ".join(shown(name) for name in names[:COLUMNS_TOLD])
    return f"{told} and {more} more" if more > 0 else told
