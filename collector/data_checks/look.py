"""One value after another: is it in doubt, and why? Pure.

In this order: a zero where there never was one; a jump by the factor between two units; a value that the
quantity cannot have; a reading that repeats itself, or that comes in coarser steps, for far longer than it
ever did (`rules.habit`). What is in doubt teaches nothing about what is usual.

How many values a level is taken of, and which quantities may be zero, is common practice, no source.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal, NamedTuple

from collector.contract import quantities
from collector.data_checks import jumps
from rules import habit
from rules.habit import Habit

Rule = Literal["implausible", "zero", "unit_jump", "stuck", "coarse"]

LEVEL_OF = 7  # values that a level is the median of
MOST_DECIMALS = 6
COARSER = 5  # steps of the finest digit ever seen
SAME, IN_STEPS = 1e-9, 1e-6  # rounding of binary numbers, of a value and in steps
# Quantities that a working press may bring to nothing.
MAY_BE_ZERO = frozenset({"cushion", "cushion_volume", "mold_open_time", "switchover_melt_pressure"})

# What cannot stay as it was while the other really is nothing: without a cushion, hold has nothing to push.
WITNESSES: dict[str, tuple[str, ...]] = {
    "cushion": ("part_weight", "hold_melt_pressure"), "cushion_volume": ("part_weight", "hold_melt_pressure"),
}  # fmt: skip


class Known(NamedTuple):
    """What is known of one key's values.

    Attributes
    ----------
    recent : tuple of float
        The last values that were not in doubt, at most `LEVEL_OF`.
    last : float or None
        The value before, in doubt or not.
    repeats, rounds : Habit
        Of values equal to the one before, and of values that are multiples of `COARSER` finest digits.
    decimals : int
        Finest digit seen.
    jump : str or None
        The jump of unit that the key is under.
    rule : str or None
        Why the value before was in doubt; None where it was not.
    """

    recent: tuple[float, ...] = ()
    last: float | None = None
    repeats: Habit = Habit()
    rounds: Habit = Habit()
    decimals: int = 0
    jump: str | None = None
    rule: Rule | None = None

    @property
    def level(self) -> float | None:
        """What the value usually is; None before enough of them are known."""
        return sorted(self.recent)[LEVEL_OF // 2] if len(self.recent) == LEVEL_OF else None


class Doubt(NamedTuple):
    """Why a value is not taken for what the press did.

    Attributes
    ----------
    rule : str
    usual : float or None
        What the value was before, canonical unit.
    run : int or None
        Shots on end that repeat or are round.
    jump : str or None
        Which unit came instead of which, where that explains the value.
    """

    rule: Rule
    usual: float | None
    run: int | None = None
    jump: str | None = None


def look(key: str, value: float, known: Known) -> tuple[Known, Doubt | None]:
    """Take one value in.

    Parameters
    ----------
    key : str
    value : float
        Canonical unit.
    known : Known
        After the value before.

    Returns
    -------
    known : Known
    doubt : Doubt or None
    """
    level = known.level
    jump = _jump(key, level, value, known.jump)
    rule = _at_once(key, value, known, jump)
    if rule is not None:
        doubt = Doubt(rule, level, jump=jump)
        return known._replace(last=value, jump=jump, rule=rule), doubt
    return _by_habit(value, known)


def _at_once(key: str, value: float, known: Known, jump: str | None) -> Rule | None:
    """What one value alone shows."""
    if value == 0 and known.level and 0 not in known.recent and key not in MAY_BE_ZERO:
        return "zero"
    if jump is not None:
        return "unit_jump"
    quantity = quantities.find(key)
    return None if quantity is None or quantity.is_plausible(value) else "implausible"


def _jump(key: str, level: float | None, value: float, under: str | None) -> str | None:
    unit = quantities.unit(key)
    if unit is None or level is None or (under is None and jumps.is_usual(unit, level, value)):
        return None
    if under is not None and jumps.still(unit, level, value, under):
        return under
    return jumps.found(unit, level, value)


def _by_habit(value: float, known: Known) -> tuple[Known, Doubt | None]:
    """What only shows in a row of values."""
    decimals = _decimals(value, known.decimals)
    rounds = known.rounds if decimals == known.decimals else Habit()  # a finer digit: what was round is not
    repeats = habit.step(known.repeats, hit=value == known.last)
    rounds = habit.step(rounds, hit=is_round(value, decimals))
    known = Known(known.recent, value, repeats, rounds, decimals)
    if habit.is_unusual(repeats):
        return known._replace(rule="stuck"), Doubt("stuck", known.level, repeats.run)
    if habit.is_unusual(rounds) and _varies(repeats):
        return known._replace(rule="coarse"), Doubt("coarse", known.level, rounds.run)
    return known._replace(recent=(*known.recent, value)[-LEVEL_OF:]), None


def _varies(repeats: Habit) -> bool:
    """A value that hardly ever changes, such as a timer's, has steps of no kind."""
    return repeats.seen >= habit.LEARNED and 2 * repeats.hits <= repeats.seen


def _decimals(value: float, so_far: int) -> int:
    """Digits after the point that write this value and those before, at most `MOST_DECIMALS`."""
    while so_far < MOST_DECIMALS and not is_written_with(value, so_far):
        so_far += 1
    return so_far


def is_written_with(value: float, decimals: int) -> bool:
    """Whether so many digits after the point write a value."""
    scale = 10.0**decimals
    return abs(value - round(value * scale) / scale) <= SAME * max(1.0, abs(value))


def is_round(value: float, decimals: int) -> bool:
    """Whether a value is a multiple of `COARSER` steps of that digit."""
    steps = value * 10.0**decimals / COARSER
    return abs(steps - round(steps)) <= IN_STEPS


def is_contradicted(key: str, values: Mapping[str, float], data: Mapping[str, Known]) -> bool:
    """Whether a zero cannot be, since all that it would have moved is known and where it was."""
    known = data.get(key)
    if values[key] != 0 or known is None or not known.level or 0 in known.recent:
        return False
    witnesses = [
        (values[each], data[each]) for each in WITNESSES.get(key, ()) if each in values and each in data
    ]
    return bool(witnesses) and all(_is_as_before(value, each) for value, each in witnesses)


def cut_off(known: Known) -> tuple[Known, Doubt]:
    """Take in a zero that is contradicted."""
    return known._replace(last=0.0, rule="zero"), Doubt("zero", known.level)


def _is_as_before(value: float, known: Known) -> bool:
    """Whether a value lies among the last ones, or no farther outside than they lie apart."""
    if known.level is None or known.rule is not None:
        return False
    low, high = min(known.recent), max(known.recent)
    return low - (high - low) <= value <= high + (high - low)
