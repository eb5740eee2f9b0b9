"""From rows of a CSV file to shots."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any

from collector.contract.mapping import ReconstructedTime, ShotProfile
from collector.contract.messages import RunMessage
from collector.contract.shot import Original, Shot
from collector.contract.unreadable import Unreadable
from collector.errors import UserError
from collector.sources import csv_cavities as cavities
from collector.sources import csv_cells as cells
from collector.sources.csv_block import BlockReader
from collector.sources.csv_job import Import
from collector.sources.csv_rows import CsvRows, Row
from collector.sources.csv_times import TimeReader


class ShotRows:
    """Reader of the rows of one file of shots."""

    def __init__(self, rows: CsvRows, profile: ShotProfile, job: Import, source: str) -> None:
        self._profile = profile
        self._marks = profile.marks
        self._job = job
        self._source = source
        self._press = job.press or profile.press
        self._run = job.run or profile.run
        self._last: dict[str, Shot] = {}  # of each press
        self._held: Shot | None = None  # may still get the rows of its other cavities
        self._begun = 0
        if self._press is None and profile.press_column is None:
            raise UserError(f"no press is named for {source}; give one, or name press_column in the profile")
        self._place = rows.find(_columns(profile))
        self._values = [cells.plan_cell(c, self._place[c.column], "shot") for c in profile.values]
        self._setpoints = [cells.plan_cell(c, self._place[c.column], "setpoint") for c in profile.setpoints]
        self._by_cavity: dict[int, tuple[list[cells.CellPlan], dict[str, str]]] = {}
        self._units = self._own_units(self._values)
        time = profile.time
        self._read_time = None if isinstance(time, ReconstructedTime) else TimeReader(time)
        self._blocks = None if profile.cavity_column is not None else self._block_reader()

    def read(self, row: Row) -> list[Any]:
        """The shot of a row, with the opening of its run before the first one of its press.

        Raises
        ------
        Unreadable
            When a cell cannot be read.
        """
        if self._profile.cavity_column is None:
            return self._out(self._shot(row, self._values, self._units, row.index))
        shot = self._cavity(row)
        if self._held is not None and cavities.same_shot(self._held, shot):
            self._held = cavities.joined(self._held, shot)
            return []
        done, self._held = self._held, shot
        self._begun += 1
        return [] if done is None else self._out(done)

    def read_block(self, table: Sequence[Sequence[str]], first: int) -> list[Any] | None:
        """The shots of many rows, with the opening of their run; None where they must be read one by one."""
        before = None if self._read_time is None else self._read_time.before
        shots = None if self._blocks is None else self._blocks.read(table, first)
        if shots is None:
            if self._read_time is not None:
                self._read_time.before = before  # the rows are read again, one by one
            return None
        last = {shot.press: shot for shot in shots}
        if not last.keys() <= self._last.keys():
            return [each for shot in shots for each in self._out(shot)]
        self._last |= last
        return shots

    def finish(self) -> list[Any]:
        """The shot that waited for its cavities, and the closing of the run on each press."""
        rest = [] if self._held is None else self._out(self._held)
        if self._run is None:
            return rest
        return [*rest, *(self._run_message(last, "close") for last in self._last.values())]

    def _block_reader(self) -> BlockReader:
        return BlockReader(
            self._profile, self._job, self._source, place=self._place, values=self._values,
            setpoints=self._setpoints, units=self._units, read_time=self._read_time, press=self._press,
            run=self._run,
        )  # fmt: skip

    def _out(self, shot: Shot) -> list[Any]:
        is_first = self._run is not None and shot.press not in self._last
        opening = [self._run_message(shot, "open")] if is_first else []
        self._last[shot.press] = shot
        return [*opening, shot]

    def _cavity(self, row: Row) -> Shot:
        column = self._profile.cavity_column
        text = self._cell(row, column)
        if text is None:
            raise Unreadable("missing_field", f"column {column!r} names no cavity", "fill it")
        cavity = self._whole(text, column)
        if cavity not in self._by_cavity:
            columns = cavities.of_cavity(self._profile.values, cavity)
            plans = [cells.plan_cell(c, self._place[c.column], "shot") for c in columns]
            self._by_cavity[cavity] = plans, self._own_units(plans)
        return self._shot(row, *self._by_cavity[cavity], self._begun)

    def _whole(self, text: str, column: str | int | None) -> int:
        return cells.whole(text, self._marks, str(column))

    def _own_units(self, plans: list[cells.CellPlan]) -> dict[str, str]:
        return {p.key: p.own_unit for p in (*plans, *self._setpoints) if p.own_unit is not None}

    def _shot(self, row: Row, plans: list[cells.CellPlan], units: dict[str, str], index: int) -> Shot:
        missing: list[str] = []
        values, originals = self._numbers(row, plans, missing)
        setpoints, setpoint_originals = self._numbers(row, self._setpoints, missing)
        counter = self._cell(row, self._profile.counter_column)
        return Shot(
            site=self._job.site,
            press=self._press_of(row),
            counter=None if counter is None else self._whole(counter, self._profile.counter_column),
            ended_at=self._ended_at(row, index),
            received_at=self._job.received_at,
            run=self._run,
            tray=self._cell(row, self._profile.tray_column),
            tray_position=None,
            values=values,
            originals=originals,
            setpoints=setpoints,
            setpoint_originals=setpoint_originals,
            units=units,
            not_written=tuple(missing),
            time_reconstructed=self._read_time is None,
            source=self._source,
        )

    def _numbers(
        self, row: Row, plans: list[cells.CellPlan], missing: list[str]
    ) -> tuple[dict[str, float], dict[str, Original]]:
        values: dict[str, float] = {}
        originals: dict[str, Original] = {}
        empty, marks = self._profile.missing, self._marks
        for plan in plans:
            text = row.cells[plan.index]
            if text in empty or text.strip() in empty:
                missing.append(plan.key)
                continue
            value = cells.number(text, marks, plan.name)
            if plan.scale != 1.0:
                value *= plan.scale
            if value == 0.0 and plan.zero_is_missing:
                missing.append(plan.key)
            elif plan.sent_unit is None:
                values[plan.key] = value
            else:
                values[plan.key] = cells.canonical(value, plan)
                originals[plan.key] = (value, plan.sent_unit)
        return values, originals

    def _ended_at(self, row: Row, index: int) -> datetime:
        time = self._profile.time
        if isinstance(time, ReconstructedTime):
            return time.start + timedelta(seconds=time.interval_s * index)
        assert self._read_time is not None, "a profile with time columns has a reader for them"
        when = cells.read_time(row, [self._place[column] for column in time.columns], self._read_time)
        self._job.check_time(when)
        return when

    def _press_of(self, row: Row) -> str:
        press = self._cell(row, self._profile.press_column) or self._press
        if press is None:
            raise Unreadable("missing_field", "the row names no press", "fill its press cell")
        self._job.check_press(press)
        return press

    def _cell(self, row: Row, column: str | int | None) -> str | None:
        if column is None:
            return None
        text = row.cells[self._place[column]].strip()
        if text in self._profile.missing:
            return None
        return cells.printable(text, str(column), self._profile.encoding)

    def _run_message(self, shot: Shot, action: Any) -> RunMessage:
        profile = self._profile
        return RunMessage(
            site=shot.site,
            press=shot.press,
            at=shot.ended_at,
            run=self._run or "",
            mold=profile.mold,
            blend=profile.blend,
            lot=profile.lot,
            color=profile.color,
            recipe=profile.recipe,
            recipe_version=profile.recipe_version,
            action=action,
            received_at=self._job.received_at,
            source=self._source,
        )


def _columns(profile: ShotProfile) -> list[str | int]:
    time = () if isinstance(profile.time, ReconstructedTime) else profile.time.columns
    optional = (
        profile.counter_column, profile.tray_column, profile.press_column, profile.cavity_column,
    )
    mapped = (column.column for column in (*profile.values, *profile.setpoints))
    return [*mapped, *time, *(column for column in optional if column is not None)]
