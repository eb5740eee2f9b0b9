"""From rows of a CSV file to gaugings: one row a disc, one column a characteristic."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from collector.contract.mapping import GaugingProfile
from collector.contract.messages import GaugingMessage
from collector.contract.quantities import unit as canonical_unit
from collector.contract.unreadable import Unreadable
from collector.errors import UserError
from collector.sources import csv_cells as cells
from collector.sources.csv_job import Import
from collector.sources.csv_rows import CsvRows, Row
from collector.sources.csv_times import TimeReader


class GaugingRows:
    """Reader of the rows of one file of gaugings."""

    def __init__(self, rows: CsvRows, profile: GaugingProfile, job: Import, source: str) -> None:
        self._profile = profile
        self._job = job
        self._source = source
        self._press = job.press or profile.press
        self._run = job.run or profile.run
        self._check_names()
        self._place = rows.find(_columns(profile))
        self._plans = [cells.plan_cell(c, self._place[c.column], "disc") for c in profile.characteristics]
        self._read_time = None if profile.time is None else TimeReader(profile.time)

    def read(self, row: Row) -> list[Any]:
        """The gaugings of a row; an empty cell is a characteristic that was not measured.

        Raises
        ------
        Unreadable
            When a cell cannot be read.
        """
        if self._press is not None:
            self._job.check_press(self._press)
        shared = self._shared(row)
        found = ((plan, self._value(row, plan)) for plan in self._plans)
        return [self._message(plan, value, shared) for plan, value in found if value is not None]

    def finish(self) -> list[Any]:
        """Nothing follows the last row."""
        return []

    def _check_names(self) -> None:
        link = self._profile.link
        if link == "counter" and self._press is None:
            raise UserError(
                f"no press is named for {self._source}, whose rows name shots by counter; give one"
            )
        if link == "order" and self._run is None:
            raise UserError(f"no run is named for {self._source}, whose rows name discs by order; give one")

    def _shared(self, row: Row) -> dict[str, Any]:
        profile = self._profile
        counter = self._required(row, profile.counter_column) if profile.link == "counter" else None
        tray = self._required(row, profile.tray_column) if profile.link == "tray" else None
        position = self._required(row, profile.position_column) if profile.link == "tray" else None
        ordered = profile.link == "order"
        return {
            "counter": None if counter is None else self._whole(counter, profile.counter_column),
            "tray": tray,
            "position": None if position is None else self._whole(position, profile.position_column),
            "disc_mark": self._required(row, profile.mark_column) if profile.link == "mark" else None,
            "order_index": row.index + profile.offset if ordered else None,
            "order_batch": (profile.batch or self._source) if ordered else None,
            "gauged_at": self._gauged_at(row),
        }

    def _whole(self, text: str, column: str | int | None) -> int:
        return cells.whole(text, self._profile.marks, str(column))

    def _value(self, row: Row, plan: cells.CellPlan) -> float | None:
        text = row.cells[plan.index]
        if text in self._profile.missing or text.strip() in self._profile.missing:
            return None
        value = cells.number(text, self._profile.marks, plan.name) * plan.scale
        return None if value == 0.0 and plan.zero_is_missing else value

    def _message(self, plan: cells.CellPlan, value: float, shared: dict[str, Any]) -> GaugingMessage:
        profile = self._profile
        return GaugingMessage(
            site=self._job.site,
            press=self._press,
            characteristic=plan.key,
            value=cells.canonical(value, plan),
            unit=plan.own_unit or canonical_unit(plan.key) or "",
            original=None if plan.sent_unit is None else (value, plan.sent_unit),
            run=self._run,
            gauge=profile.gauge,
            temperature_degc=profile.temperature_degc,
            definition=profile.definition,
            who=profile.who,
            received_at=self._job.received_at,
            source=self._source,
            **shared,
        )

    def _gauged_at(self, row: Row) -> datetime | None:
        columns = self._profile.time
        if columns is None or self._read_time is None:
            return None
        when = cells.read_time(row, [self._place[column] for column in columns.columns], self._read_time)
        self._job.check_time(when)
        return when

    def _required(self, row: Row, column: str | int | None) -> str:
        assert column is not None, "the profile was checked for the columns of its link"
        text = row.cells[self._place[column]].strip()
        if text in self._profile.missing:
            raise Unreadable(
                "missing_field", f"column {column!r} is empty", "say which disc this row is about"
            )
        return cells.printable(text, str(column), self._profile.encoding)


def _columns(profile: GaugingProfile) -> list[str | int]:
    time = () if profile.time is None else profile.time.columns
    links = {
        "counter": (profile.counter_column,),
        "tray": (profile.tray_column, profile.position_column),
        "mark": (profile.mark_column,),
        "order": (),
    }[profile.link]
    mapped = (column.column for column in profile.characteristics)
    return [*mapped, *time, *(column for column in links if column is not None)]
