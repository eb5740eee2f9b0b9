"""What is found in the sample of a file: its rows, its columns, its times, and which end of it is newest."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from collector.contract.marks import Marks
from collector.sources.inspection import roles as role_finding
from collector.sources.inspection.dialect import Cut, cut
from collector.sources.inspection.doubts import Doubts
from collector.sources.inspection.layout import Layout, find_layout
from collector.sources.inspection.marks import find_marks
from collector.sources.inspection.roles import Roles
from collector.sources.inspection.sample import Sample, take_sample
from collector.sources.inspection.table import SampledColumn, columns
from collector.sources.inspection.times import FoundTime, find_time, is_newest_first


@dataclass(frozen=True, slots=True)
class Seen:
    """What was found, put together once."""

    sample: Sample
    cut: Cut
    layout: Layout
    columns: list[SampledColumn]
    marks: Marks
    time: FoundTime | None
    roles: Roles
    newest_first: bool

    @property
    def free(self) -> list[SampledColumn]:
        """Columns that hold neither the time nor the name of anything."""
        taken = self.roles.taken() | ({column.place for column in self.time.columns} if self.time else set())
        return [column for column in self.columns if column.place not in taken]

    @property
    def same_shot(self) -> list[int]:
        """Rows of which the next is another cavity of the same shot: same count, or else same time."""
        if self.roles.cavity is None:
            return []
        timed = self.time.columns if self.time else []
        texts = list(
            zip(*(c.texts for c in ([self.roles.counter] if self.roles.counter else timed)), strict=True)
        )
        return [row for row in range(len(texts) - 1) if texts[row] == texts[row + 1]]


def see(path: Path, now: datetime, doubts: Doubts) -> Seen:
    """Look at a file.

    Raises
    ------
    UserError
        When it is none that could hold shots or gaugings: not text, empty, only a header, no numbers.
    """
    sample = take_sample(path, doubts)
    rows = cut(sample, doubts)
    layout = find_layout(rows, path.name, doubts)
    found = columns(layout)
    time = find_time(found, now, doubts)
    timed = {column.place for column in time.columns} if time else set()
    others = [column for column in found if column.place not in timed]
    marks = find_marks(others, doubts)
    for column in others:
        column.read_numbers(marks)
    roles = role_finding.find_roles(others, doubts)
    newest_first = is_newest_first(time, roles.counter)
    if layout.headers_again:
        doubts.add(
            "header_rows", f"the header comes again in the sample ({layout.headers_again} x), as no data"
        )
    if newest_first:
        doubts.add("newest_first", "the newest row is on top, so the file is read from its end")
    return Seen(sample, rows, layout, found, marks, time, roles, newest_first)
