"""Which faults a pattern of directions is often seen with, best fit first. Pure."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from collector.alarms import cautions
from collector.alarms.fault_table import DATA, FAULTS, Fault, Pattern, Sign, like
from collector.alarms.model import Moved
from collector.contract import quantities

MOST = 4
SCATTERED = 2  # a direction beside +1, -1 and 0: the values spread more than before, about the same level
ACCOUNTED_FOR = 0.75  # a moved key that the pattern does not name counts against it
NOT_MEASURED = 1.0  # a row that rests on what nobody measures comes after those that can be seen
TEMPO = 1.0
NOT_SET = 2.0  # a setpoint that stayed as it was speaks as loud against a cause that is its change
HAPPENED = 2.0  # what people did shortly before speaks as loud as a characteristic that moved as expected

# How much one key speaks for a pattern: (expected sign, seen: in the expected way, unchanged, otherwise)
_WEIGHTS: dict[Sign, tuple[float, float, float]] = {
    "+": (2.0, -0.5, -2.0),
    "-": (2.0, -0.5, -2.0),
    "+?": (1.0, 0.25, -1.5),
    "-?": (1.0, 0.25, -1.5),
    "~": (1.0, -0.25, -0.25),
    "=": (0.25, 0.25, -1.0),
}
_SIDES: dict[Sign, frozenset[int]] = {
    "+": frozenset({1}), "+?": frozenset({1}), "-": frozenset({-1}), "-?": frozenset({-1}),
    "~": frozenset({1, -1, SCATTERED}), "=": frozenset(),
}  # fmt: skip
_EVENTS = {"lot": "new lot", "color": "new color", "stop": "stop of the press"}
_MISFIT = "Does not fit: "
_WORDS = {1: "higher", -1: "lower", 0: "unchanged", SCATTERED: "uneven"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Cause:
    """A fault that the pattern is often seen with, and why it is named."""

    name: str
    reason: str
    score: float
    operator: tuple[str, ...]
    technician: tuple[str, ...]
    cautions: tuple[str, ...]
    row: int
    like: tuple[str, ...] = ()
    contradicted: bool = False  # a key symptom is measured and unchanged, or its setpoint is
    borne_out: bool = False  # it fits wholly, a key symptom among it; what varies anyway bears out nothing

    def to_json(self) -> dict[str, Any]:
        """The form kept with the alarm."""
        return {
            "cause": self.name,
            "reason": self.reason,
            "checks": list(self.operator),
            "technician_checks": list(self.technician),
            "cautions": list(self.cautions),
            "row": self.row,
            "like": list(self.like),
        }


def match(
    directions: Mapping[str, int],
    *,
    single: bool = False,
    happenings: Collection[str] = (),
    untouched: Collection[str] = (),
    most: int = MOST,
) -> list[Cause]:
    """Rank the fault table against what was seen.

    Parameters
    ----------
    directions : mapping of str to int
        By characteristic: +1 higher than its baseline, -1 lower, 0 measured and unchanged, `SCATTERED`. A key
        that is absent is not measured.
    single : bool
        Only single bad shots were seen.
    happenings : collection of str
        What people did or the press said shortly before: an event's kind, or "setpoint KEY".
    untouched : collection of str
        Setpoints that the press reports and that stayed as they were since well before.
    most : int
        How many causes to name at most.

    Returns
    -------
    list of Cause
        Best fit first, the table's order among equals; empty when nothing fits.
    """
    seen = _by_key(directions)
    weighed = (
        _weigh(fault, directions, seen, single=single, happenings=happenings, untouched=untouched)
        for fault in FAULTS
    )
    return _ranked([cause for cause in weighed if cause])[:most]


def to_name(found: Iterable[Mapping[str, Any]] | None) -> str | None:
    """The cause that a line of a few words may name: the first, as kept with the alarm, that fits wholly."""
    return next((each["cause"] for each in found or () if _MISFIT not in each.get("reason", "")), None)


def _ranked(found: Sequence[Cause]) -> list[Cause]:
    """By score; a cause whose key symptom stayed away comes after those that are borne out."""
    least = min((each.score for each in found if each.borne_out), default=math.inf)
    return sorted(
        found,
        key=lambda each: (-min(each.score, least if each.contradicted else math.inf), each.contradicted),
    )


def of_data(moved: Iterable[Moved]) -> list[Cause]:
    """What values in doubt are often seen with, one cause a kind of doubt; the most frequent kind first."""
    by_rule: dict[str, list[Moved]] = {}
    for item in moved:
        by_rule.setdefault(item.how or "", []).append(item)
    ordered = sorted(by_rule.items(), key=lambda each: -len(each[1]))
    return [_of_doubt(DATA[rule], items) for rule, items in ordered if rule in DATA]


def _of_doubt(fault: Fault, items: Sequence[Moved]) -> Cause:
    names = ", ".join(quantities.label(item.key).lower() for item in items)
    return _cause(fault, f"In doubt: {names}.", score=float(len(items)))


def _weigh(
    fault: Fault,
    directions: Mapping[str, int],
    seen: Mapping[str, int],
    *,
    single: bool,
    happenings: Collection[str],
    untouched: Collection[str],
) -> Cause | None:
    seen_in = [pattern for pattern in fault.patterns if _any_hit(pattern, seen)]
    if not seen_in:
        return None
    pattern = max(seen_in, key=lambda pattern: _score(pattern, directions, seen))
    happened = [each for each in fault.happenings if each in happenings]
    not_set = [] if happened else [key for key in fault.set_by if key in untouched]
    score = _score(pattern, directions, seen) + _tempo(fault, single=single)
    score += HAPPENED * bool(happened) - NOT_SET * bool(not_set)
    if score <= 0:
        return None
    cause = _cause(fault, _reason(pattern, directions, seen, happened, not_set), score=score)
    keys = {key: sign for key, sign in pattern.items() if sign in ("+", "-") and key in seen}
    return replace(
        cause,
        contradicted=bool(not_set) or any(seen[key] == 0 for key in keys),
        borne_out=_MISFIT not in cause.reason and _any_hit(keys, seen),
    )


def _cause(fault: Fault, reason: str, *, score: float) -> Cause:
    return Cause(
        name=fault.name, reason=reason, score=score, operator=fault.operator, technician=fault.technician,
        cautions=cautions.words(fault.hazards), row=fault.row, like=like(fault),
    )  # fmt: skip


def _tempo(fault: Fault, *, single: bool) -> float:
    """A row of single bad shots only speaks for those, and speaks against a lasting change."""
    if fault.tempo == ("single",):
        return 2 * TEMPO if single else -2 * TEMPO
    if not single:
        return 0.0
    return TEMPO if "single" in fault.tempo else -TEMPO


def _score(pattern: Pattern, directions: Mapping[str, int], seen: Mapping[str, int]) -> float:
    fit = sum(_weight(sign, seen[key]) for key, sign in pattern.items() if key in seen)
    unseen = sum(1 for key, sign in pattern.items() if sign in ("+", "-") and key not in seen)
    stray = sum(1 for key, side in directions.items() if side and _base(key) not in pattern)
    return fit - ACCOUNTED_FOR * stray - NOT_MEASURED * unseen


def _any_hit(pattern: Pattern, seen: Mapping[str, int]) -> bool:
    return any(_hit(sign, seen[key]) for key, sign in pattern.items() if key in seen)


def _by_key(directions: Mapping[str, int]) -> dict[str, int]:
    """Direction of each key as the table names it; of its zones, the first that moved."""
    seen: dict[str, int] = {}
    for name, direction in directions.items():
        seen[_base(name)] = seen.get(_base(name)) or direction
    return seen


def _base(key: str) -> str:
    return key.partition(".")[0]


def _hit(sign: Sign, seen: int) -> bool:
    return seen in _SIDES[sign]


def _weight(sign: Sign, seen: int) -> float:
    as_expected, unchanged, otherwise = _WEIGHTS[sign]
    if _hit(sign, seen):
        return as_expected + (seen == SCATTERED)
    if seen == 0 or (seen == SCATTERED and sign != "="):  # scatter has no side, so it speaks against none
        return unchanged
    return otherwise


def _reason(
    pattern: Pattern,
    directions: Mapping[str, int],
    seen: Mapping[str, int],
    happened: Sequence[str],
    not_set: Sequence[str],
) -> str:
    """Say in one sentence what fits and what does not."""
    fits: list[str] = []
    not_so: list[str] = []
    for key, sign in pattern.items():
        if key in seen:
            side = seen[key]
            says = f"{quantities.label(key).lower()} {_WORDS[side]}"
            quiet = side == 0 and sign in ("=", "+?", "-?")
            (fits if _hit(sign, side) or quiet else not_so).append(says)
    unnamed = [
        f"{quantities.label(key).lower()} {_WORDS[side]}"
        for key, side in directions.items()
        if side and _base(key) not in pattern
    ]
    unnamed += [f"{quantities.label(key).lower()} not set anew" for key in not_set]
    fits += [f"{_event_words(each)} shortly before" for each in happened]
    sentence = f"Fits: {', '.join(fits)}."
    return f"{sentence} {_MISFIT}{', '.join(not_so + unnamed)}." if not_so or unnamed else sentence


def _event_words(happening: str) -> str:
    kind, _, key = happening.partition(" ")
    return f"{quantities.label(key).lower()} set anew" if key else _EVENTS.get(kind, kind)
