"""Shots of which each cavity has a row of its own: the rows that follow one another become one shot.

What each cavity has for itself stands under the key with the cavity's number, as `part_weight.2`.
"""

from __future__ import annotations

from collections.abc import Sequence

from collector.contract.mapping import Column
from collector.contract.quantities import unit
from collector.contract.shot import Shot
from collector.contract.unreadable import Unreadable
from collector.identity import DEFAULT_POLL

MOST = 99  # cavities, the largest number that a key can have


def of_cavity(columns: Sequence[Column], cavity: int) -> list[Column]:
    """The columns with the keys that they have in the row of one cavity.

    Raises
    ------
    Unreadable
        When the cavity's number can be none.
    """
    if not 1 <= cavity <= MOST:
        raise Unreadable(
            "wrong_type", f"the cavity's number is {cavity}", f"number the cavities from 1 to {MOST}"
        )
    return [_numbered(column, cavity) if column.per_cavity else column for column in columns]


def _numbered(column: Column, cavity: int) -> Column:
    # With a number the key is no longer in the table of quantities, so it needs its unit spelled out.
    changes = {"key": f"{column.key}.{cavity}", "unit": column.unit or unit(column.key)}
    return column.model_copy(update=changes)


def same_shot(first: Shot, second: Shot) -> bool:
    """Whether two rows, one after the other, are of one shot: same press, same count or else same time.

    A count that comes again far later is that of another shot, as after a restart of the counter.
    """
    if (first.press, first.counter) != (second.press, second.counter):
        return False
    if first.counter is None:
        return first.ended_at == second.ended_at
    return first.time_reconstructed or abs(second.ended_at - first.ended_at) <= DEFAULT_POLL


def joined(first: Shot, second: Shot) -> Shot:
    """One shot of the rows of two cavities.

    Raises
    ------
    Unreadable
        When a value that the shot has only once differs between the two.
    """
    for key in first.values.keys() & second.values.keys():
        if first.values[key] != second.values[key]:
            raise Unreadable(
                "wrong_type",
                f"{key} differs from the row of another cavity of the same shot",
                "say per_cavity = true for its column, or mend the row",
            )
    values = {**first.values, **second.values}
    missing = {*first.not_written, *second.not_written} - values.keys()
    return first._replace(
        ended_at=first.ended_at if first.time_reconstructed else max(first.ended_at, second.ended_at),
        values=values,
        originals={**first.originals, **second.originals},
        units={**first.units, **second.units},
        not_written=tuple(sorted(missing)),
    )
