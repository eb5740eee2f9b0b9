"""How do parameters and state of a chart travel as JSON, and which parameters are refused?

Source: RFC 8259 (2017) for what JSON can carry; the form is our own.
"""

from __future__ import annotations

import math
from dataclasses import fields
from functools import lru_cache
from typing import Any, ClassVar, Generic, Self, TypeVar, cast

import numpy as np
from numpy.typing import ArrayLike

from rules.charts.chart import FloatArray

__all__ = ["STATE_VERSION", "Record", "cleaned", "finite", "one_dimensional", "positive", "series", "table"]

STATE_VERSION = 1

S = TypeVar("S")


class Record(Generic[S]):
    """What every chart shares: its parameters and its state survive a trip through JSON."""

    __slots__ = ()

    name: ClassVar[str]
    state_type: ClassVar[type[Any]]

    def parameters(self) -> dict[str, object]:
        """Return the parameters by name; tuples become lists."""
        return _plain(self)

    @classmethod
    def from_parameters(cls, parameters: dict[str, Any]) -> Self:
        """Build the chart; ValueError names a parameter that is unknown or missing."""
        known = [field.name for field in fields(cast(Any, cls)) if field.init]
        for name in parameters:
            if name not in known:
                raise ValueError(f"A {cls.name} chart has no parameter {name!r}; it has {', '.join(known)}.")
        try:
            return cls(**_tuples(parameters))
        except TypeError as exc:
            given = ", ".join(parameters) or "nothing"
            raise ValueError(f"A {cls.name} chart cannot be built from {given}: {exc}.") from exc

    def dump_state(self, state: S) -> dict[str, Any]:
        """Return the fields of ``state`` and the version of their meaning."""
        return {"version": STATE_VERSION, **_plain(state)}

    def load_state(self, dumped: dict[str, Any]) -> S:
        """Rebuild a state; ValueError if a newer release wrote it or it belongs to another chart."""
        version = dumped.get("version")
        if version != STATE_VERSION:
            raise ValueError(
                f"The state of the {self.name} chart has version {version}, this release reads version "
                f"{STATE_VERSION}; update the release or start the chart anew."
            )
        held = {name: value for name, value in dumped.items() if name != "version"}
        try:
            return cast(S, self.state_type(**_tuples(held)))
        except TypeError as exc:
            raise ValueError(
                f"This is no state of the {self.name} chart: {exc}; start the chart anew."
            ) from exc


def _plain(record: object) -> dict[str, Any]:
    values = {name: getattr(record, name) for name in _names(cast(Any, type(record)))}
    return {name: list(value) if isinstance(value, tuple) else value for name, value in values.items()}


@lru_cache(maxsize=256)  # the state of every chart is dumped with every batch
def _names(kind: type[Any]) -> tuple[str, ...]:
    return tuple(field.name for field in fields(kind))


def _tuples(values: dict[str, Any]) -> dict[str, Any]:
    return {name: tuple(value) if isinstance(value, list) else value for name, value in values.items()}


def finite(chart: str, name: str, value: float) -> None:
    """Raise ValueError unless ``value`` is a finite number."""
    if not math.isfinite(value):
        raise ValueError(f"The {name} of the {chart} chart is {value}; give a finite number.")


def positive(chart: str, name: str, value: float) -> None:
    """Raise ValueError unless ``value`` is a finite number above zero."""
    if not (math.isfinite(value) and value > 0):
        raise ValueError(f"The {name} of the {chart} chart is {value}; give a number above zero.")


def one_dimensional(x: ArrayLike) -> FloatArray:
    """Return ``x`` as an array of float64, shape (n,)."""
    values = _numbers(x)
    if values.ndim != 1:
        raise ValueError(f"A chart takes one series of values; this array has {values.ndim} dimensions.")
    return values


def _numbers(given: ArrayLike) -> FloatArray:
    try:
        return np.asarray(given, dtype=np.float64)
    except (TypeError, ValueError) as exc:
        raise ValueError(f"A chart takes numbers, NaN where one is missing: {exc}.") from exc


def cleaned(values: FloatArray) -> FloatArray:
    """Return ``values`` with NaN wherever one is not finite."""
    known = np.isfinite(values)
    return values if known.all() else np.where(known, values, np.nan)


def series(x: ArrayLike) -> FloatArray:
    """Return ``x`` as an array of float64, shape (n,), NaN wherever a value is not finite."""
    return cleaned(one_dimensional(x))


def table(rows: ArrayLike, columns: int) -> FloatArray:
    """Return ``rows`` as an array of float64, shape (n, columns), NaN wherever a value is not finite."""
    values = _numbers(rows)
    if values.size == 0:
        values = values.reshape(0, columns)
    if values.ndim != 2 or values.shape[1] != columns:
        raise ValueError(f"This chart takes rows of {columns} numbers; this array has shape {values.shape}.")
    return cleaned(values)
