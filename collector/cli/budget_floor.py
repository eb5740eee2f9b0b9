"""The floor that `evenrun budget` speaks of: characteristics from its options or from the settings."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass

from collector.contract import quantities
from collector.errors import UserError
from collector.settings import Charts
from rules.budget import Characteristic, coarse
from rules.limits import PHI_CEILING, standing_of
from rules.run_length.autocorrelated import variance_ratio

__all__ = ["Charted", "described", "equal", "from_settings"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Charted:
    """A characteristic, and what the answer should say of it."""

    characteristic: Characteristic
    ignored_minimum: float | None = None  # a minimum shift that cannot be told in sigma

    @property
    def name(self) -> str:
        """What the characteristic is called."""
        return self.characteristic.name

    @property
    def standing(self) -> str:
        """How far limits from such a baseline can be trusted; `known` without a baseline."""
        if self.characteristic.n is None:
            return "known"
        return standing_of(self.characteristic.n / variance_ratio(self.characteristic.phi))


@dataclass(frozen=True, slots=True, kw_only=True)
class Defaults:
    """What holds for every characteristic that does not say otherwise."""

    phi: float = 0.0
    baseline: int | None = None


def equal(count: int, defaults: Defaults) -> list[Charted]:
    """So many characteristics that differ in their names only."""
    if count < 1:
        raise UserError(
            f"a press with {count} characteristics has no chart; give --characteristics 1 or more"
        )
    return [_charted(f"characteristic {place}", {}, defaults, {}) for place in range(1, count + 1)]


def from_settings(charts: Charts, defaults: Defaults) -> list[Charted]:
    """The characteristics that the settings chart."""
    names = [*charts.vital, *(key for key in charts.also if key not in charts.vital)]
    return [_charted(name, {}, defaults, charts.minimum_shift) for name in names if not _is_watched(name)]


def described(specs: Iterable[str], charts: Charts, defaults: Defaults) -> list[Charted]:
    """Read `NAME,phi=0.5,n=300,...`, one characteristic each."""
    return [_read(spec, charts, defaults) for spec in specs]


def _is_watched(key: str) -> bool:
    """Timers are watched for change and raise no false alarm."""
    return quantities.is_timer(key)


def _read(spec: str, charts: Charts, defaults: Defaults) -> Charted:
    name, *parts = (part.strip() for part in spec.split(","))
    if not name or "=" in name:
        raise UserError(f"--characteristic {spec!r} begins with no name; write NAME,phi=0.5,n=300")
    given: dict[str, float | bool] = {}
    for part in parts:
        word, equals, text = (piece.strip() for piece in part.partition("="))
        if word not in READERS or not equals:
            raise UserError(
                f"--characteristic {name} has {part!r}; after the name it takes {', '.join(READERS)}, each "
                "with = and its value"
            )
        given[word] = READERS[word](name, word, text)
    return _charted(name, given, defaults, charts.minimum_shift)


def _charted(
    name: str, given: dict[str, float | bool], defaults: Defaults, minimum_shifts: dict[str, float]
) -> Charted:
    n = given.get("n", defaults.baseline)
    phi = float(given.get("phi", defaults.phi))
    minimum = float(given.get("minimum_shift", minimum_shifts.get(name, 0.0)))
    sigma = given.get("sigma")
    if sigma is None and "minimum_shift" in given:
        raise UserError(f"--characteristic {name} has a minimum_shift; give its sigma in the same unit too")
    return Charted(
        characteristic=Characteristic(
            name=name,
            phi=phi if n is None else coarse(phi, int(n)),
            n=None if n is None else int(n),
            minimum_shift=0.0 if sigma is None else minimum / float(sigma),
            vital=bool(given.get("vital", True)),
            share=None if "share" not in given else float(given["share"]),
        ),
        ignored_minimum=minimum if sigma is None and minimum > 0.0 else None,
    )


def _number(low: float, high: float, words: str) -> Callable[[str, str, str], float]:
    """A reader of numbers from `low` to `high`, which `words` describe."""

    def read(name: str, word: str, text: str) -> float:
        try:
            value = float(text)
        except ValueError:
            value = math.nan
        if not low <= value <= high:
            raise UserError(f"--characteristic {name} has {word}={text}; give {words}")
        return value

    return read


def _yes_or_no(name: str, word: str, text: str) -> bool:
    if text not in {"yes", "no"}:
        raise UserError(f"--characteristic {name} has {word}={text}; give yes or no")
    return text == "yes"


SMALL, LARGE = 1e-300, 1e300
READERS: dict[str, Callable[[str, str, str], float | bool]] = {
    "phi": _number(0.0, PHI_CEILING, f"an autocorrelation from 0 to {PHI_CEILING}"),
    "n": _number(5, 1e9, "the shots of its baseline, 5 or more"),
    "sigma": _number(SMALL, LARGE, "a standard deviation above 0, in its unit"),
    "minimum_shift": _number(0.0, LARGE, "0 or more, in its unit"),
    "share": _number(SMALL, 1.0, "a part of the budget above 0 and at most 1"),
    "vital": _yes_or_no,
}
