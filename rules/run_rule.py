"""What is a run rule? The numbers that define one, checked, and what it sees in plain English.

References
----------
Nelson, L. S. (1984). The Shewhart control chart - tests for special causes. J. Quality Technology 16,
237-239 (the shapes).
Champ, C. W. and Woodall, W. H. (1987). Exact results for Shewhart control charts with supplementary runs
rules. Technometrics 29, 393-399 (k of m values between two distances from center).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

__all__ = ["SHAPES", "RunRule", "sentence"]

# Fewest values in which a shape can be seen.
SHAPES = {"beyond": 1, "inside": 1, "outside": 1, "trend": 2, "alternating": 3}
ORDER = ("trend", "alternating")


@dataclass(frozen=True, slots=True, kw_only=True)
class RunRule:
    """One rule: ``count`` of the last ``of`` values in a pattern, the newest among them.

    Parameters
    ----------
    name : str
        What signals are called.
    nelson : int
        Number of the rule in Nelson (1984).
    pattern : str
        ``"beyond"`` (one side, in the zone), ``"inside"`` (nearer than ``limit``), ``"outside"`` (in the zone
        of either side), ``"trend"`` or ``"alternating"``.
    count, of : int
        How many of how many values; equal for ``"trend"`` and ``"alternating"``, which need them in a row.
    limit : float
        Where the zone begins, in sigma from center; not used by ``"trend"`` and ``"alternating"``.
    high : float
        Where the zone ends, in sigma from center; without end as a rule. For ``"beyond"`` and ``"outside"``.
    both_sides : bool
        Whether ``"outside"`` asks for values on each side of center; for values in a row only.

    Raises
    ------
    ValueError
        If the pattern is unknown, or the numbers make a rule that is met never or always.
    """

    name: str
    nelson: int
    pattern: str
    count: int
    of: int
    limit: float = 0.0
    high: float = math.inf
    both_sides: bool = False

    def __post_init__(self) -> None:
        """Refuse a rule that could never, or always, be met."""
        if self.pattern not in SHAPES:
            raise ValueError(
                f"Rule {self.name} has no pattern {self.pattern!r}; use one of {', '.join(SHAPES)}."
            )
        self._check_counts()
        if self.pattern in ORDER:
            self._check_order_alone()
        else:
            self._check_zone()
        self._check_both_sides()

    def _check_counts(self) -> None:
        if not (isinstance(self.count, int) and isinstance(self.of, int)):
            raise ValueError(f"Rule {self.name} asks for {self.count} of {self.of}; give whole numbers.")
        if not 1 <= self.count <= self.of:
            raise ValueError(
                f"Rule {self.name} cannot ask for {self.count} of {self.of} values; use 1 <= count <= of."
            )
        if self.of < SHAPES[self.pattern]:
            raise ValueError(
                f"Rule {self.name} needs at least {SHAPES[self.pattern]} values to see its pattern, "
                f"not {self.of}."
            )

    def _check_order_alone(self) -> None:
        if self.count != self.of:
            raise ValueError(
                f"Rule {self.name} cannot ask for {self.count} of {self.of} values; "
                f"its pattern needs all of them in a row."
            )
        if self.limit != 0.0 or self.high != math.inf:
            raise ValueError(f"Rule {self.name} looks at order alone; leave out its zone.")

    def _check_zone(self) -> None:
        if not (math.isfinite(self.limit) and self.limit >= 0):
            raise ValueError(f"Rule {self.name} has the limit {self.limit}; give 0 or more sigma.")
        if not self.high > self.limit:
            raise ValueError(
                f"Rule {self.name} has a zone from {self.limit:g} to {self.high:g} sigma; "
                f"give the nearer distance first."
            )
        if self.pattern == "inside" and not (self.limit > 0 and self.high == math.inf):
            raise ValueError(
                f"Rule {self.name} needs one limit above 0 sigma, and no other end, to be inside of."
            )
        if self.pattern == "outside" and self.limit == 0 and self.high == math.inf and not self.both_sides:
            raise ValueError(f"Rule {self.name} would be met by every value; give a limit above 0 sigma.")

    def _check_both_sides(self) -> None:
        if self.both_sides and not (self.pattern == "outside" and self.count == self.of > 1):
            raise ValueError(
                f"Rule {self.name} cannot ask for both sides; only 2 or more values in a row outside can."
            )


def sentence(rule: RunRule) -> str:
    """Return what ``rule`` sees in plain English."""
    if rule.of == 1:
        return f"1 shot {_zone(rule, 'from center')}"
    number = str(rule.of) if rule.count == rule.of else f"{rule.count} of {rule.of}"
    return f"{number} shots in a row {_seen(rule)}"


def _seen(rule: RunRule) -> str:
    match rule.pattern:
        case "trend":
            return "all rising or all falling"
        case "alternating":
            return "alternating up and down"
        case "outside":
            sides = "some on each side" if rule.both_sides else "on either side"
            return f"{_zone(rule, 'from center')}, {sides}"
        case "beyond" if rule.limit == 0 and rule.high == math.inf:
            return "on one side of center"
        case _:
            return _zone(rule, "to one side of center")


def _zone(rule: RunRule, where: str) -> str:
    if rule.pattern == "inside":
        return f"within {rule.limit:g} sigma of center"
    if rule.high < math.inf:
        return f"between {rule.limit:g} and {rule.high:g} sigma {where}"
    return f"more than {rule.limit:g} sigma {where}"
