"""Which faults a pattern of directions is often seen with, best fit first. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from collector.alarms import cautions
from collector.alarms.fault_table import FAULTS, Fault, Pattern, Sign
from collector.contract import quantities

MOST = 4
ACCOUNTED_FOR = 0.75  # a moved key that the pattern does not name counts against it
NOT_MEASURED = 1.0  # a row that rests on what nobody measures comes after those that can be seen
TEMPO = 1.0

# How much one key speaks for a pattern: (expected sign, seen: in the expected way, unchanged, otherwise)
_WEIGHTS: dict[Sign, tuple[float, float, float]] = {
    "+": (2.0, -0.5, -2.0),
    "-": (2.0, -0.5, -2.0),
    "~": (1.0, -0.25, -0.25),
    "=": (0.25, 0.25, -1.0),
}
_WORDS = {1: "higher", -1: "lower", 0: "unchanged"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Cause:
    """A fault that the pattern is often seen with, and why it is named."""

    name: str
    reason: str
    score: float
    operator: tuple[str, ...]
    technician: tuple[str, ...]
    cautions: tuple[str, ...]

    def to_json(self) -> dict[str, Any]:
        """The form kept with the alarm."""
        return {
            "cause": self.name,
            "reason": self.reason,
            "checks": list(self.operator),
            "technician_checks": list(self.technician),
            "cautions": list(self.cautions),
        }


def match(directions: Mapping[str, int], *, single: bool = False, most: int = MOST) -> list[Cause]:
    """Rank the fault table against what was seen.

    Parameters
    ----------
    directions : mapping of str to int
        By characteristic: +1 higher than its baseline, -1 lower, 0 charted and unchanged. A key that is
        absent is not measured.
    single : bool
        Only single bad shots were seen.
    most : int
        How many causes to name at most.

    Returns
    -------
    list of Cause
        Best fit first, the table's order among equals; empty when nothing fits.
    """
    ranked = [cause for fault in FAULTS if (cause := _weigh(fault, directions, single=single)) is not None]
    return sorted(ranked, key=lambda cause: -cause.score)[:most]


def _weigh(fault: Fault, directions: Mapping[str, int], *, single: bool) -> Cause | None:
    seen_in = [pattern for pattern in fault.patterns if _any_hit(pattern, directions)]
    if not seen_in:
        return None
    pattern = max(seen_in, key=lambda pattern: _score(pattern, directions))
    score = _score(pattern, directions)
    score += _tempo(fault, single=single)
    if score <= 0:
        return None
    return Cause(
        name=fault.name, reason=_reason(pattern, directions), score=score, operator=fault.operator,
        technician=fault.technician, cautions=cautions.words(fault.hazards),
    )  # fmt: skip


def _tempo(fault: Fault, *, single: bool) -> float:
    """A row of single bad shots only speaks for those, and speaks against a lasting change."""
    if fault.tempo == ("single",):
        return 2 * TEMPO if single else -2 * TEMPO
    if not single:
        return 0.0
    return TEMPO if "single" in fault.tempo else -TEMPO


def _score(pattern: Pattern, directions: Mapping[str, int]) -> float:
    fit = sum(_weight(sign, seen) for sign, seen in _compared(pattern, directions))
    unseen = sum(1 for key, sign in pattern.items() if sign in "+-" and _seen(key, directions) is None)
    stray = sum(1 for key, seen in directions.items() if seen and _base(key) not in pattern)
    return fit - ACCOUNTED_FOR * stray - NOT_MEASURED * unseen


def _any_hit(pattern: Pattern, directions: Mapping[str, int]) -> bool:
    return any(_hit(sign, seen) for sign, seen in _compared(pattern, directions))


def _compared(pattern: Pattern, directions: Mapping[str, int]) -> list[tuple[Sign, int]]:
    return [(sign, seen) for key, sign in pattern.items() if (seen := _seen(key, directions)) is not None]


def _seen(key: str, directions: Mapping[str, int]) -> int | None:
    """Direction of a key; of its zones, the first that moved."""
    zones = [seen for name, seen in directions.items() if _base(name) == key]
    return next((seen for seen in zones if seen), 0) if zones else None


def _base(key: str) -> str:
    return key.partition(".")[0]


def _hit(sign: Sign, seen: int) -> bool:
    return seen != 0 and {"+": seen > 0, "-": seen < 0, "~": True, "=": False}[sign]


def _weight(sign: Sign, seen: int) -> float:
    as_expected, unchanged, otherwise = _WEIGHTS[sign]
    if seen == 0:
        return unchanged
    return as_expected if _hit(sign, seen) else otherwise


def _reason(pattern: Pattern, directions: Mapping[str, int]) -> str:
    """Say in one sentence what fits and what does not."""
    fits: list[str] = []
    not_so: list[str] = []
    for key, sign in pattern.items():
        seen = _seen(key, directions)
        if seen is not None:
            says = f"{quantities.label(key).lower()} {_WORDS[seen]}"
            (fits if _hit(sign, seen) or (sign == "=" and seen == 0) else not_so).append(says)
    unnamed = [
        f"{quantities.label(key).lower()} {_WORDS[seen]}"
        for key, seen in directions.items()
        if seen and _base(key) not in pattern
    ]
    sentence = f"Fits: {', '.join(fits)}."
    return f"{sentence} Does not fit: {', '.join(not_so + unnamed)}." if not_so or unnamed else sentence
