"""The rows of a CSV file with the bytes they came from; a row of the wrong length is refused by itself.

Every line is a row: a quoted cell does not run over the end of its line. RFC 4180 would allow it, presses
do not write it, and a lost quote would otherwise swallow the rest of the file.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TextIO

from collector.contract.mapping import ColumnName, Profile
from collector.contract.refusal import Reason, Refusal
from collector.contract.unreadable import Unreadable, shown
from collector.errors import UserError


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
    """

    def __init__(self, file: TextIO, name: str, profile: Profile, received_at: datetime) -> None:
        self._profile = profile
        self._name = name
        self._received_at = received_at
        self._file = file
        self._line = 0
        self.header = self._read_header()

    def find(self, columns: Sequence[ColumnName]) -> dict[ColumnName, int]:
        """Place of each column.

        Raises
        ------
        Unreadable
            When one is missing or stands twice, with the columns that the file has.
        """
        missing = [column for column in columns if self._place(column) is None]
        if missing:
            present = ", ".join(repr(name) for name in self.header)
            raise Unreadable(
                "missing_column",
                f"{self._name} has no column {', '.join(map(repr, missing))}",
                f"mend the profile; the columns are {present}" if present else "mend the profile",
            )
        return {column: place for column in columns if (place := self._place(column)) is not None}

    def __iter__(self) -> Iterator[Row | Refusal]:
        """Yield data rows and refusals; empty lines and repeated headers are passed over."""
        index = 0
        for text in self._lines():
            try:
                cells = self._cells(text)
            except csv.Error as error:
                yield self.refuse("bad_file", str(error), "mend the quotes of this row", self.raw(text))
                index += 1
                continue
            if not cells or cells == self.header:
                continue
            if len(cells) == len(self.header):
                yield Row(index, self._line, cells, text)
            else:
                yield self._ragged(len(cells), text)
            index += 1

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

    def _lines(self) -> Iterator[str]:
        for text in self._file:
            self._line += 1
            yield text

    def _cells(self, text: str) -> list[str]:
        return next(csv.reader((text,), delimiter=self._profile.delimiter, strict=True), [])

    def raw(self, text: str) -> bytes:
        """The bytes of a line as they stand in the file."""
        return text.encode(self._profile.encoding, errors="surrogateescape")

    def _read_header(self) -> list[str]:
        lines = self._lines()
        for _ in range(self._profile.skip_rows):
            next(lines, None)
        if self._profile.header_rows == 0:
            return [str(number) for number in range(1, (self._profile.column_count or 0) + 1)]
        try:
            return self._cells(next(lines, ""))
        except csv.Error:
            return []

    def _place(self, column: ColumnName) -> int | None:
        name = str(column)
        if self.header.count(name) > 1:
            raise Unreadable(
                "duplicate_key", f"{self._name} has the column {name!r} twice", "rename one of the two"
            )
        return self.header.index(name) if name in self.header else None

    def _ragged(self, count: int, text: str) -> Refusal:
        return self.refuse(
            "ragged_row",
            f"{count} cells where the file has {len(self.header)} columns, in {shown(text)}",
            "mend the row; a decimal comma in a comma-separated file splits cells",
            self.raw(text),
        )


def open_text(path: Path, profile: Profile) -> TextIO:
    """Open a file as `CsvRows` wants it.

    Raises
    ------
    UserError
        When it cannot be opened.
    """
    encoding = (
        "utf-8-sig" if profile.encoding.lower().replace("_", "-") in {"utf-8", "utf8"} else profile.encoding
    )
    try:
        return path.open(encoding=encoding, errors="surrogateescape", newline="")
    except OSError as error:
        raise UserError(f"{path} cannot be read ({error.strerror}); give the path of a CSV file") from error
