"""Profiles: how the columns of somebody's CSV file become shots or gaugings.

A profile is data, read from a TOML file, so that a new file format needs no code.
"""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Annotated, Literal, Self

from pydantic import BaseModel, ConfigDict, Discriminator, Field, Tag, field_validator, model_validator

from collector.contract.marks import DecimalMark, Marks, ThousandsMark
from collector.contract.quantities import Scope
from collector.contract.readings import Problem, how_to_read
from collector.contract.setting_types import Factor, ZoneName

# A column by its name in the header; by its number from 1 where the file has no header.
ColumnName = str | int

_NO_DELIMITERS = '"\r\n\0'


class Part(BaseModel):
    """A part of a profile; an unknown name is an error, since it is most likely a typing mistake."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class Column(Part):
    """One column: the quantity it holds, its unit, and whether a zero in it means nothing was written."""

    key: str
    column: ColumnName
    unit: str | None = None
    factor: Factor = Field(1.0, description="what the cell is multiplied with to be in the unit")
    zero_means_not_written: bool = False
    per_cavity: bool = Field(default=False, description="each cavity's row has its own value")


class SetpointColumn(Column):
    """A column with a setpoint; a change by no more than `tolerance` (canonical unit) is no change."""

    tolerance: float = Field(0.0, ge=0)


class TimeColumns(Part):
    """Where the time stands. Several columns are joined by a space, as a date and a time."""

    columns: tuple[ColumnName, ...] = Field(min_length=1)
    order: Literal["iso", "year-first", "day-first", "month-first", "epoch-s", "epoch-ms"] = "iso"
    format: str | None = None
    zone: ZoneName = "UTC"

    @field_validator("format")
    @classmethod
    def _without_name_of_zone(cls, value: str | None) -> str | None:
        if value is not None and "%Z" in value.replace("%%", ""):
            raise ValueError("%Z reads the name of a zone but not what it means; use %z, or zone")
        return value


class ReconstructedTime(Part):
    """For a file without times: the end of its first shot and the seconds from shot to shot."""

    start: datetime
    interval_s: float = Field(gt=0)

    @field_validator("start")
    @classmethod
    def _aware(cls, value: datetime) -> datetime:
        if value.tzinfo is None:
            raise ValueError("start needs a zone, such as 2022-05-04T08:00:00Z")
        return value.astimezone(UTC)


# Which of the two a table of times is, so that an error speaks of that one only.
TIME_TAGS = ("times that are read", "times that are made up")


def _which_time(table: object) -> str:
    made_up = isinstance(table, ReconstructedTime) or (
        isinstance(table, dict) and bool({"start", "interval_s"} & table.keys())
    )
    return TIME_TAGS[made_up]


ShotTime = Annotated[
    Annotated[TimeColumns, Tag(TIME_TAGS[0])] | Annotated[ReconstructedTime, Tag(TIME_TAGS[1])],
    Discriminator(_which_time),
]


class Profile(Part):
    """What shots and gaugings have in common: how the file is written."""

    title: str = ""
    delimiter: str = Field(",", min_length=1, max_length=1)
    decimal_mark: DecimalMark = "."
    thousands_mark: ThousandsMark | None = Field(None, description="between groups of three digits")
    encoding: str = "utf-8"
    header_rows: int = Field(1, ge=0, le=4, description="names, then such as units, passed over")
    skip_rows: int = Field(0, ge=0, description="lines above the header")
    brackets_in_names: bool = Field(default=False, description="brackets may hold delimiters")
    wrapped_lines: bool = Field(default=False, description="leading white space continues a row")
    newest_first: bool = Field(default=False, description="the last line is the oldest; read from the end")
    skip_blank_rows: bool = Field(default=False, description="rows of empty cells are passed over")
    total_rows: tuple[str, ...] = Field((), description="first words of rows that sum up; passed over")
    quoted_decimals: bool = Field(default=False, description="the decimal mark is the delimiter, in quotes")
    column_count: int | None = Field(None, ge=1, description="columns of a file without a header")
    missing: tuple[str, ...] = ("",)
    press: str | None = None
    run: str | None = None

    @field_validator("encoding")
    @classmethod
    def _known_encoding(cls, value: str) -> str:
        try:
            "".encode(value)
        except LookupError as error:
            raise ValueError(f"no encoding is called {value!r}; use utf-8 or latin-1") from error
        return value

    @field_validator("total_rows")
    @classmethod
    def _words(cls, value: tuple[str, ...]) -> tuple[str, ...]:
        if not all(word.strip() for word in value):
            raise ValueError("total_rows has an empty word; rows of empty cells are left by skip_blank_rows")
        return value

    @model_validator(mode="after")
    def _numbered_without_header(self) -> Self:
        if self.header_rows == 0 and self.column_count is None:
            raise ValueError("a file without a header needs column_count")
        if self.delimiter in _NO_DELIMITERS:
            raise ValueError("delimiter cannot be a quote or the end of a line; give the sign between cells")
        if self.delimiter == self.decimal_mark and not self.quoted_decimals:
            raise ValueError("delimiter and decimal_mark cannot be the same sign")
        if self.thousands_mark == self.decimal_mark:
            raise ValueError("decimal_mark and thousands_mark cannot be the same sign")
        return self

    @property
    def marks(self) -> Marks:
        """How numbers are written."""
        return Marks(self.decimal_mark, self.thousands_mark)


class ShotProfile(Profile):
    """A file with one row a shot."""

    kind: Literal["shots"]
    press_column: ColumnName | None = None
    counter_column: ColumnName | None = None
    tray_column: ColumnName | None = None
    cavity_column: ColumnName | None = Field(None, description="number of the cavity: one row each a shot")
    time: ShotTime
    values: tuple[Column, ...] = Field(min_length=1)
    setpoints: tuple[SetpointColumn, ...] = ()
    mold: str | None = None
    blend: str | None = None
    lot: str | None = None
    color: str | None = None
    recipe: str | None = None
    recipe_version: int | None = Field(None, ge=1)
    startup_shots: int | None = Field(None, ge=0, description="shots at the start that are never charted")
    chart: tuple[str, ...] = Field((), description="keys to chart besides the vital ones")

    @model_validator(mode="after")
    def _readable(self) -> Self:
        _check_columns(self.values, "shot")
        _check_columns(self.setpoints, "setpoint")
        _check_cavities(self.values, self.cavity_column)
        _check_cavities(self.setpoints, None)
        nameless = self.counter_column is None and isinstance(self.time, ReconstructedTime)
        if self.cavity_column is not None and nameless:
            raise ValueError("cavity_column needs counter_column or times, to tell which rows are one shot")
        return self

    def setpoint_tolerances(self) -> dict[str, float]:
        """Allowed wobble of each recorded setpoint, canonical unit."""
        return {column.key: column.tolerance for column in self.setpoints}


class GaugingProfile(Profile):
    """A file with one row a disc and one column a characteristic.

    `link` says how a row names its disc: by the shot's counter, by tray and position, by the disc's
    mark, or by order alone, in which case row 1 is index `offset` of the batch.
    """

    kind: Literal["gaugings"]
    link: Literal["counter", "tray", "mark", "order"]
    counter_column: ColumnName | None = None
    tray_column: ColumnName | None = None
    position_column: ColumnName | None = None
    mark_column: ColumnName | None = None
    batch: str | None = None
    offset: int = Field(0, ge=0)
    time: TimeColumns | None = None
    characteristics: tuple[Column, ...] = Field(min_length=1)
    gauge: str | None = None
    definition: str | None = None
    temperature_degc: float | None = None
    who: str | None = None

    @model_validator(mode="after")
    def _readable(self) -> Self:
        _check_columns(self.characteristics, "disc")
        _check_cavities(self.characteristics, None)
        needed = {
            "counter": (self.counter_column,),
            "tray": (self.tray_column, self.position_column),
            "mark": (self.mark_column,),
            "order": (),
        }[self.link]
        if None in needed:
            raise ValueError(f"link = {self.link!r} needs the column(s) that name the disc")
        return self


AnyProfile = Annotated[ShotProfile | GaugingProfile, Field(discriminator="kind")]


def _check_columns(columns: tuple[Column, ...], scope: Scope) -> None:
    keys = [column.key for column in columns]
    for key in keys:
        if keys.count(key) > 1:
            raise ValueError(f"{key} is mapped twice")
    for column in columns:
        reading = how_to_read(column.key, column.unit, scope)
        if isinstance(reading, Problem):
            raise ValueError(f"column {column.column!r}: {reading.detail}; {reading.remedy}")


def _check_cavities(columns: tuple[Column, ...], cavity_column: ColumnName | None) -> None:
    for column in columns:
        if column.per_cavity and (cavity_column is None or "." in column.key):
            raise ValueError(
                f"column {column.column!r} is per_cavity, which only values of a file with a cavity_column "
                "can be, under a key without a number; take it out, or give the column"
            )
