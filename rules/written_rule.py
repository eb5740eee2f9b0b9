"""How is a run rule with numbers of its own written? After the name of the published one, and read back.

``same_side:8`` asks for 8 in a row, ``two_of_three:3/4`` for 3 of 4, ``two_of_three@1.96`` for a zone from
1.96 sigma on, ``two_of_three@2-3`` for one from 2 to 3 sigma, ``avoiding+both`` for values on each side of
center; ``two_of_three:3/4@1.5`` says two of these at once.

References
----------
Champ, C. W. and Woodall, W. H. (1987). Exact results for Shewhart control charts with supplementary runs
rules. Technometrics 29, 393-399 (the numbers that a rule has).
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import replace

from rules.run_rule import RunRule

__all__ = ["read_rule"]

_NUMBER = r"\d+(?:\.\d+)?"
_WRITTEN = re.compile(
    r"(?P<name>[a-z0-9_]+)(?::(?P<count>\d+)(?:/(?P<of>\d+))?)?"
    rf"(?:@(?P<limit>{_NUMBER})(?:-(?P<high>{_NUMBER}))?)?(?P<both>\+both)?"
)


def read_rule(text: str, published: Mapping[str, RunRule]) -> RunRule:
    """Return the rule that ``text`` stands for.

    Parameters
    ----------
    text : str
        A name, and numbers that differ from the published ones.
    published : mapping of str to RunRule
        The rules that have names.

    Returns
    -------
    RunRule
        Its name is the shortest text that reads as the same rule.

    Raises
    ------
    ValueError
        If the text cannot be read, the name is unknown or the numbers make no rule.
    """
    parts = _WRITTEN.fullmatch(text)
    if parts is None:
        raise ValueError(
            f"Run rule {text!r} cannot be read; write a name, or a name and numbers as in same_side:8, "
            f"two_of_three:2/3, two_of_three@2-3 or avoiding+both."
        )
    if parts["name"] not in published:
        raise ValueError(f"Run rule {text!r} is unknown; the rules are {', '.join(published)}.")
    base = published[parts["name"]]
    count, of = _counts(text, base, parts["count"], parts["of"])
    own = replace(
        base,
        name=text,  # what a refusal of the numbers names
        count=count,
        of=of,
        limit=base.limit if parts["limit"] is None else float(parts["limit"]),
        high=base.high if parts["high"] is None else float(parts["high"]),
        both_sides=base.both_sides or parts["both"] is not None,
    )
    return replace(own, name=_written(base, own))


def _counts(text: str, base: RunRule, count: str | None, of: str | None) -> tuple[int, int]:
    if count is None:
        return base.count, base.of
    if of is not None:
        return int(count), int(of)
    if base.count != base.of:
        raise ValueError(
            f"Run rule {text!r} says how many shots but not of how many; write {base.name}:{count}/N."
        )
    return int(count), int(count)


def _written(base: RunRule, own: RunRule) -> str:
    text = base.name
    if (own.count, own.of) != (base.count, base.of):
        text += f":{own.count}" if own.count == own.of and base.count == base.of else f":{own.count}/{own.of}"
    if own.high != math.inf:
        text += f"@{own.limit:.12g}-{own.high:.12g}"
    elif own.limit != base.limit:
        text += f"@{own.limit:.12g}"
    return text + "+both" * own.both_sides
