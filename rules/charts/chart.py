"""What does every chart promise? One value at a time, or a whole array, with the same answer.

A chart is a frozen record of parameters. Its state is a second frozen record that `step` never changes but
replaces, so a caller can store the new state and the shot in one transaction, and drop both together.

The contract is our own; no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, ClassVar, Protocol, Self, TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rules.limits import Limits

__all__ = ["BEYOND_LIMIT", "Chart", "FloatArray", "IntArray", "Point", "RowChart", "Track"]

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int8]

BEYOND_LIMIT = "beyond_limit"

S = TypeVar("S")


@dataclass(frozen=True, slots=True)
class Point:
    """What one value did to one chart.

    Parameters
    ----------
    statistic : float
        What the chart plots, signed; NaN if the value is missing.
    share : float
        Distance from center as a share of the limit: above 1 it is beyond; NaN if the value is missing.
    signals : tuple of str
        Names of the rules met at this value, in the order of the published numbers.
    direction : int
        Side of the center the statistic is on: -1, 0 or 1.
    """

    statistic: float
    share: float
    signals: tuple[str, ...]
    direction: int


@dataclass(frozen=True, slots=True)
class Track:
    """What an array of values did to one chart.

    Parameters
    ----------
    statistic, share : ndarray of float64, shape (n,)
        As in :class:`Point`.
    signals : tuple of (int, str)
        Index from 0 and rule, sorted by index, then by published number of the rule.
    direction : ndarray of int8, shape (n,)
        As in :class:`Point`.
    """

    statistic: FloatArray
    share: FloatArray
    signals: tuple[tuple[int, str], ...]
    direction: IntArray


class Chart(Protocol[S]):
    """A control chart: parameters, a way to start, to take one value, and to take many.

    A value that is not finite is missing: its statistic is NaN, no rule is met, an accumulated statistic
    stays as it was, and a run of values is broken. Inequalities are strict: a value on a limit is inside.
    """

    name: ClassVar[str]

    def start(self) -> S:
        """Return the state before the first value."""
        ...

    def step(self, state: S, x: float) -> tuple[S, Point]:
        """Take one value; return the next state and what the value did. ``state`` itself is not changed."""
        ...

    def run(self, x: ArrayLike, state: S | None = None) -> tuple[S, Track]:
        """Take many values, shape (n,), going on from ``state``; equal to folding :meth:`step` over them."""
        ...

    def limits(self) -> Limits | None:
        """Return the lines to draw in the unit of the statistic, or None where none is horizontal."""
        ...

    def parameters(self) -> dict[str, object]:
        """Return the parameters as a dictionary that JSON can carry."""
        ...

    @classmethod
    def from_parameters(cls, parameters: dict[str, Any]) -> Self:
        """Build the chart from what :meth:`parameters` returned; ValueError names what does not fit."""
        ...

    def dump_state(self, state: S) -> dict[str, Any]:
        """Return ``state`` as a dictionary that JSON can carry, with its ``"version"``."""
        ...

    def load_state(self, dumped: dict[str, Any]) -> S:
        """Rebuild a state from :meth:`dump_state`; ValueError if a newer version wrote it."""
        ...


class RowChart(Protocol[S]):
    """A control chart that takes several numbers at once: a subgroup, a count with its size, a joint shot.

    As :class:`Chart`, with a row of ``columns`` numbers in place of one value; what the columns mean, and
    what a missing one does, is the chart's own.
    """

    name: ClassVar[str]

    @property
    def columns(self) -> int:
        """How many numbers a row has."""
        ...

    def start(self) -> S:
        """Return the state before the first row."""
        ...

    def step(self, state: S, row: Sequence[float]) -> tuple[S, Point]:
        """Take one row; return the next state and what the row did. ``state`` itself is not changed."""
        ...

    def run(self, rows: ArrayLike, state: S | None = None) -> tuple[S, Track]:
        """Take many rows, shape (n, columns); equal to folding :meth:`step` over them."""
        ...

    def limits(self) -> Limits | None:
        """Return the lines to draw in the unit of the statistic, or None where none is horizontal."""
        ...

    def parameters(self) -> dict[str, object]:
        """Return the parameters as a dictionary that JSON can carry."""
        ...

    @classmethod
    def from_parameters(cls, parameters: dict[str, Any]) -> Self:
        """Build the chart from what :meth:`parameters` returned; ValueError names what does not fit."""
        ...

    def dump_state(self, state: S) -> dict[str, Any]:
        """Return ``state`` as a dictionary that JSON can carry, with its ``"version"``."""
        ...

    def load_state(self, dumped: dict[str, Any]) -> S:
        """Rebuild a state from :meth:`dump_state`; ValueError if a newer version wrote it."""
        ...
