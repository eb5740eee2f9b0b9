"""What an inspection proposes: a profile in parts, with its doubts."""

from __future__ import annotations

from collections.abc import Mapping as Dictionary
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from collector.sources.inspection.doubts import Doubts
from collector.sources.inspection.mapping import Mapping

Kind = Literal["shots", "gaugings"]
HeadValue = str | int | bool | list[str] | None
TimeValue = str | float | datetime | list[str | int]


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """What a person says beforehand; None is found out, guessed, or left open.

    Attributes
    ----------
    zone : str
        Time zone of times that do not name theirs.
    now : datetime
        Aware; no time of a file should be later.
    press, run : str or None
    kind : {'shots', 'gaugings'} or None
    start : datetime or None
        Aware end of the first shot, for a file without times.
    interval_s : float or None
        Seconds from shot to shot, for a file without times.
    """

    zone: str
    now: datetime
    press: str | None = None
    run: str | None = None
    kind: Kind | None = None
    start: datetime | None = None
    interval_s: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposal:
    """A profile before it is written.

    Attributes
    ----------
    file_name : str
    kind : {'shots', 'gaugings'}
    head : mapping
        Keys of the profile's top level in their order; None is a line that the person has to fill.
    time : mapping
        Keys of its time section; empty where there is none.
    mapping : Mapping
    doubts : Doubts
        Those about the head and the time; a column has its own.
    """

    file_name: str
    kind: Kind
    head: Dictionary[str, HeadValue]
    time: Dictionary[str, TimeValue]
    mapping: Mapping
    doubts: Doubts

    def sentences(self) -> list[str]:
        """All doubts, one sentence each, those about a column with its name."""
        shots = [*self.mapping.values, *self.mapping.setpoints]
        mapped = self.mapping.characteristics if self.kind == "gaugings" else shots
        of_columns = [
            f"column {each.column.name or each.column.reference!r} as {each.key}: {doubt}"
            for each in mapped
            for doubt in each.doubts
        ]
        return [*self.doubts.sentences(), *of_columns]

    def checks(self) -> list[str]:
        """All that a person has to look at: the doubts, and what is left out though it may be a quantity."""
        return [*self.sentences(), *self.mapping.left_out_sentences()]
