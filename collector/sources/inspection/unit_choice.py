"""The unit of a column: as stated, unless its values cannot be that; else one that makes the values usual."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from collector.contract import quantities, units
from collector.sources.inspection.ranges import Usual, canonical, is_plausible, is_usual

FACTORS = (0.1, 10.0, 0.01, 100.0)


@dataclass(frozen=True, slots=True)
class Choice:
    """Unit and factor of a column, and the doubt about them in one sentence, None where there is none."""

    unit: str
    factor: float = 1.0
    doubt: str | None = None


def choose_unit(
    key: str, value: float, stated: str | None, range_: Usual, preferred: Sequence[str], *, token: bool
) -> Choice:
    """Choose the unit of a column.

    Parameters
    ----------
    key : str
    value : float
        A typical value as it stands in the file; not zero.
    stated : str or None
        What the header says.
    range_ : Usual
        What the quantity usually is.
    preferred : sequence of str
        Units that other columns of the file have; they come first where several would fit.
    token : bool
        Whether the header is a token of the old interface, whose units go without saying.
    """
    order = _in_order(range_, preferred)
    if stated is not None:
        return _as_stated(key, value, stated, range_, order)
    fitting = [unit for unit in order if is_usual(range_, value, unit)]
    if not fitting:
        return _by_a_factor(value, range_, order)
    expected = token and fitting[0] == range_.units[0]
    why = _why(key, value, fitting, preferred, expected=expected)
    return Choice(fitting[0], doubt=f"no unit is written; {why}")


def _why(key: str, value: float, fitting: Sequence[str], preferred: Sequence[str], *, expected: bool) -> str:
    unit, others = fitting[0], fitting[1:]
    if expected:
        return f"{unit} is what the interface of such names sends, and it fits"
    if others and unit in preferred:
        return f"{unit} is taken as in other columns of the file, and it fits"
    if others:
        also = " or ".join(_shown(value, other) for other in others)
        return f"{_shown(value, unit)} is usual, but {also} would be too"
    if _is_hydraulic_too(key, unit, value):
        return f"{unit} makes {value:g} usual, if it is melt and not oil pressure"
    return f"only {unit} makes values such as {value:g} usual"


def _in_order(range_: Usual, preferred: Sequence[str]) -> list[str]:
    first = [unit for unit in preferred if unit in range_.units]
    return list(dict.fromkeys((*first, *range_.units)))


def _as_stated(key: str, value: float, stated: str, range_: Usual, order: Sequence[str]) -> Choice:
    if units.canonical(stated) != units.canonical(range_.units[0]):
        found = next((unit for unit in order if is_usual(range_, value, unit)), range_.units[0])
        return Choice(
            found,
            doubt=f"the file says {stated}, which does not measure this; {_shown(value, found)} is taken",
        )
    if is_plausible(key, value, stated) and not _far_off(range_, value, stated):
        return Choice(stated)
    other = next((unit for unit in order if unit != stated and is_usual(range_, value, unit)), None)
    if other is None:
        return Choice(stated, doubt=f"the file says {stated}, but values such as {value:g} would be unusual")
    if quantities.find(key) is not None and is_plausible(key, value, stated):
        return Choice(stated, doubt=f"the file says {stated}, but {_shown(value, other)} would be more usual")
    return Choice(
        other,
        doubt=f"the file says {stated}, but {_shown(value, stated)} cannot be; "
        f"{_shown(value, other)} is taken",
    )


def _far_off(range_: Usual, value: float, unit: str) -> bool:
    """Whether a value is outside of the usual range by more than half; until then what is stated holds."""
    plain = canonical(value, unit)
    return plain < range_.low / 2 or plain > range_.high * 1.5


def _by_a_factor(value: float, range_: Usual, order: Sequence[str]) -> Choice:
    for factor in FACTORS:
        for unit in order[:2]:
            if is_usual(range_, value * factor, unit):
                return Choice(
                    unit,
                    factor,
                    f"values such as {value:g} are usual in no unit; times {factor:g} they are {unit}, "
                    "as where a press sends tenths",
                )
    unit = order[0]
    return Choice(
        unit, doubt=f"no unit is written, and {value:g} would be unusual in every one; {unit} is a guess"
    )


def _is_hydraulic_too(key: str, unit: str, value: float) -> bool:
    return key.endswith("pressure") and "hydraulic" not in key and canonical(value, unit) < 26


def _shown(value: float, unit: str) -> str:
    base = units.canonical(unit)
    return f"{value:g} {unit}" + ("" if base == unit else f" ({canonical(value, unit):.4g} {base})")


def vote(found: Sequence[tuple[float, Usual]]) -> list[str]:
    """The unit that makes most of some columns' values usual, and alone does so."""
    votes: Counter[str] = Counter()
    for value, range_ in found:
        fitting = [unit for unit in range_.units if is_usual(range_, value, unit)]
        if len(fitting) == 1:
            votes[fitting[0]] += 1
    return [unit for unit, _ in votes.most_common(1)]
