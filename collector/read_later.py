"""Refused rows of a file that a later import reads: they wait for nobody any more.

A refused row and a row that was read are the same where the file's name and the line are the same, and the
line holds the same bytes or names the same shot or disc: its cells of counter, tray, mark and time are as
they were, as where somebody mended another cell. So another file of the same name settles nothing.
"""

from __future__ import annotations

import csv
from collections.abc import Collection, Iterator
from datetime import datetime
from itertools import islice
from pathlib import Path

import sqlalchemy as sa

from collector.contract.mapping import GaugingProfile, ShotProfile, TimeColumns
from collector.contract.unreadable import Unreadable
from collector.sources import csv_lines
from collector.sources.csv_lines import Line
from collector.sources.csv_open import open_text
from collector.sources.csv_rows import CsvRows
from collector.store import refusals

__all__ = ["settle"]

AT_ONCE = 500


def settle(
    conn: sa.Connection,
    path: Path,
    profile: ShotProfile | GaugingProfile,
    *,
    refused: Collection[str],
    at: datetime,
) -> int:
    """Mark the waiting refusals of a file that was imported to its end.

    Parameters
    ----------
    conn : Connection
        From :func:`collector.store.database.write`.
    path : Path
    profile : ShotProfile or GaugingProfile
        As it was read this time.
    refused : collection of str
        Positions that were refused this time.
    at : datetime
        Aware.

    Returns
    -------
    int
        How many.
    """
    waiting: dict[int, list[int]] = {}
    for number, position in refusals.waiting_of_file(conn, path.name):
        line = position.rpartition(":")[2]
        if position not in refused and line.isdecimal():
            waiting.setdefault(int(line), []).append(number)
    if not waiting:
        return 0
    with open_text(path, profile) as file, open_text(path, profile) as again:
        same = _Same(CsvRows(file, path.name, profile, at), profile)
        lines = (each for each in csv_lines.forward(again, 0) if each[0] in waiting)
        return sum(
            _settle_some(conn, some, waiting, same, at)
            for some in iter(lambda: list(islice(lines, AT_ONCE)), [])
        )


def _settle_some(
    conn: sa.Connection, lines: list[Line], waiting: dict[int, list[int]], same: _Same, at: datetime
) -> int:
    raw = refusals.raw_bytes(conn, [number for line, _ in lines for number in waiting[line]])
    read = [
        number for line, text in lines for number in waiting[line]
        if number in raw and same.row(raw[number], text)
    ]  # fmt: skip
    if read:
        refusals.mark_all_replayed(conn, read, at=at)
    return len(read)


class _Same:
    """Whether a line of a file is a row that was refused before."""

    def __init__(self, rows: CsvRows, profile: ShotProfile | GaugingProfile) -> None:
        self._rows = rows
        self._delimiter = profile.delimiter
        try:
            self._places = sorted(rows.find(list(_names_of_row(profile))).values())
        except Unreadable:  # nothing could be read by this header
            self._places = []

    def row(self, refused: bytes, text: str) -> bool:
        """Whether a line is a refused row, the first of the lines of a wrapped one, or names the same."""
        line, before = text.rstrip("\r\n"), self._rows.text(refused)
        goes_on = before.removeprefix(line)[:1] not in {"\r", "\n", ""}
        if line and before.startswith(line) and not goes_on:
            return True
        names = self._names(before)
        return names is not None and any(names) and names == self._names(text)

    def _names(self, text: str) -> list[str] | None:
        try:
            cells = next(csv.reader((text,), delimiter=self._delimiter), [])
        except csv.Error:
            return None
        if not self._places or len(cells) <= self._places[-1]:
            return None
        return [cells[place].strip() for place in self._places]


def _names_of_row(profile: ShotProfile | GaugingProfile) -> Iterator[str | int]:
    """The columns that name a shot or disc; a list in the order of molding has none."""
    if isinstance(profile, GaugingProfile) and profile.link == "order":
        return
    columns: tuple[str | int | None, ...] = (profile.counter_column, profile.tray_column)
    if isinstance(profile, GaugingProfile):
        columns += (profile.position_column, profile.mark_column)
    else:
        columns += (profile.press_column, profile.cavity_column)
    yield from (column for column in columns if column is not None)
    if isinstance(profile.time, TimeColumns):
        yield from profile.time.columns
