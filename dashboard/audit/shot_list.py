"""The shots of a run as the charts saw them, and how a place among them is called. Pure."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd


@dataclass(frozen=True)
class ShotList:
    """Shots in order, each with a place from 0.

    Parameters
    ----------
    frame : DataFrame
        Columns id, counter, tray, phase, signaled, in the order of the charts.
    """

    frame: pd.DataFrame

    def __len__(self) -> int:
        """Number of shots."""
        return len(self.frame)

    @cached_property
    def ids(self) -> np.ndarray[Any, np.dtype[np.int64]]:
        """Row ids of the shots."""
        return np.asarray(self.frame["id"], dtype=np.int64)

    @cached_property
    def steady(self) -> np.ndarray[Any, np.dtype[np.intp]]:
        """Places of the shots after startup."""
        return np.flatnonzero(self.frame["phase"].to_numpy() != "startup")

    @cached_property
    def counters(self) -> list[int | None]:
        """The press's counters."""
        return [None if pd.isna(counter) else int(counter) for counter in self.frame["counter"]]

    @cached_property
    def _trays(self) -> list[str | None]:
        return [None if pd.isna(tray) else str(tray) for tray in self.frame["tray"]]

    @cached_property
    def _place(self) -> dict[int, int]:
        return {int(shot_id): place for place, shot_id in enumerate(self.ids)}

    def place(self, shot_id: int | None) -> int | None:
        """Place of a shot by its row id, None when it is not of this run."""
        return None if shot_id is None else self._place.get(shot_id)

    def number(self, place: int) -> str:
        """What a shot is called: its counter, else its place from 1 with a number sign."""
        counter = self.counters[place]
        return f"#{place + 1:,}" if counter is None else f"{counter:,}"

    def span(self, first: int, last: int) -> str:
        """``shot 12`` or ``shots 12 to 40``, both included."""
        if first == last:
            return f"shot {self.number(first)}"
        return f"shots {self.number(first)} to {self.number(last)}"

    def trays(self, places: Iterable[int]) -> tuple[str, ...]:
        """Trays that took the discs of these shots, in the order they were filled."""
        named = (self._trays[place] for place in places)
        return tuple(dict.fromkeys(tray for tray in named if tray is not None))

    def without_tray(self, places: Iterable[int]) -> int:
        """How many of these shots name no tray."""
        return sum(self._trays[place] is None for place in places)


def stretches(places: Iterable[int]) -> list[tuple[int, int]]:
    """Runs of consecutive places, first and last of each."""
    found: list[tuple[int, int]] = []
    for place in sorted(set(places)):
        if found and place == found[-1][1] + 1:
            found[-1] = (found[-1][0], place)
        else:
            found.append((place, place))
    return found
