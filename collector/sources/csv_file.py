"""Import of one CSV file: shots or gaugings, row by row, with a refusal for each row that cannot be read."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

from collector.contract.mapping import GaugingProfile, ShotProfile
from collector.contract.messages import GaugingMessage, RunMessage
from collector.contract.refusal import Refusal
from collector.contract.shot import Shot
from collector.contract.unreadable import Unreadable
from collector.sources.csv_gaugings import GaugingRows
from collector.sources.csv_job import FILE_POLICY, Import
from collector.sources.csv_open import open_text
from collector.sources.csv_rows import CsvRows, Row
from collector.sources.csv_shots import ShotRows

BEGINNING = 65_536  # bytes

Record = Shot | RunMessage | GaugingMessage | Refusal

__all__ = ["FILE_POLICY", "Import", "Record", "read"]


def read(
    path: Path,
    profile: ShotProfile | GaugingProfile,
    job: Import,
    *,
    passed_over: Callable[[int], None] = lambda _line: None,
) -> Iterator[Record]:
    """Read a CSV file.

    Parameters
    ----------
    path : Path
        The file.
    profile : ShotProfile or GaugingProfile
        How it is written and what its columns mean.
    job : Import
        Site, clocks, and where they differ from the profile, press and run.
    passed_over : callable
        Called with the line of each row of totals, which gives no record.

    Yields
    ------
    Shot, RunMessage, GaugingMessage or Refusal
        In the order of the rows. Where the profile or the job names a run, it is opened before its
        first shot and closed after its last. A row that cannot be read is one refusal; a file without
        a needed column is a single one.

    Raises
    ------
    UserError
        When the file cannot be opened or no press is named.
    """
    with open_text(path, profile) as file:
        rows = CsvRows(file, path.name, profile, job.received_at, passed_over)
        try:
            reader = _reader(rows, profile, job, path.name)
        except Unreadable as broken:
            header = rows.raw(profile.delimiter.join(rows.header)) or _beginning(path)
            yield rows.refuse(broken.reason, broken.detail, broken.remedy, header)
            return
        found = rows.in_blocks(reader.read_block) if isinstance(reader, ShotRows) else rows
        for each in found:
            yield from _records(each, rows, reader.read) if isinstance(each, Row) else (each,)
        yield from reader.finish()


def _beginning(path: Path) -> bytes:
    """The bytes of a file of which not even a header could be read, up to the end of a line."""
    with path.open("rb") as file:
        return file.readline(BEGINNING)


def _reader(
    rows: CsvRows, profile: ShotProfile | GaugingProfile, job: Import, name: str
) -> ShotRows | GaugingRows:
    if isinstance(profile, ShotProfile):
        return ShotRows(rows, profile, job, name)
    return GaugingRows(rows, profile, job, name)


def _records(row: Row, rows: CsvRows, read_row: Callable[[Row], list[Record]]) -> Iterator[Record]:
    try:
        yield from read_row(row)
    except Unreadable as broken:
        yield rows.refuse(broken.reason, broken.detail, broken.remedy, rows.raw(row.text), row.line)
