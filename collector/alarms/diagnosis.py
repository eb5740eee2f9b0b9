"""What an alarm is often seen with, from everything its press reported around it."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import sqlalchemy as sa
from numpy.typing import NDArray

from collector.alarms import beside, causes, evidence, happenings
from collector.alarms.causes import SCATTERED
from collector.alarms.fault_table import FAULTS
from collector.alarms.model import AlarmKind, Moved
from collector.store import doubts
from collector.store.newest import Newest
from collector.store.tables import signals

NAMED_IN_TABLE = frozenset(key for fault in FAULTS for pattern in fault.patterns for key in pattern)
LOOKED_BACK = 400  # shots from the newest one, within which a change is compared with what was before

_IN_DOUBT_SINCE = (
    sa.select(signals.c.key, signals.c.rule)
    .where(
        signals.c.press_id == sa.bindparam("press_id"),
        signals.c.shot_id >= sa.bindparam("low_shot_id"),
        signals.c.kind == doubts.DATA,
        signals.c.withdrawn.is_(False),
    )
    .order_by(signals.c.id)
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Matter:
    """What an alarm is about.

    Attributes
    ----------
    press_id : int
    kind : str
    moved : tuple of Moved
    single : bool
    low_shot_id, first_shot_id, high_shot_id, last_shot_id : int
        Earliest, likeliest and latest shot where it began, and the last one that signaled.
    bad_shots : frozenset of int
        Single bad shots.
    elsewhere : mapping of str to int
        What other alarms of the press say of the same shots: direction by characteristic.
    """

    press_id: int
    kind: AlarmKind
    moved: tuple[Moved, ...]
    single: bool
    low_shot_id: int
    first_shot_id: int
    high_shot_id: int
    last_shot_id: int
    bad_shots: frozenset[int] = frozenset()
    elsewhere: Mapping[str, int] = field(default_factory=dict)


def spoken_of(keys: Iterable[str]) -> list[str]:
    """Those of some keys that the fault table speaks of."""
    return [key for key in keys if key.partition(".")[0] in NAMED_IN_TABLE]


def causes_of(
    conn: sa.Connection,
    matter: Matter,
    facts: Collection[evidence.Signaled],
    newest: Newest,
    keys: Collection[str],
) -> list[dict[str, Any]]:
    """The likely causes of an alarm, best fit first, as they are kept with it.

    Parameters
    ----------
    conn : Connection
    matter : Matter
    facts : collection of Signaled
    newest : Newest
        The last `LOOKED_BACK` shots or more, with `keys`.
    keys : collection of str
        What the last shot that signaled reported and the fault table speaks of.
    """
    if matter.kind == "data":
        return [cause.to_json() for cause in causes.of_data(matter.moved)]
    seen = dict.fromkeys(evidence.charted_keys(conn, facts), 0)
    around = _around(matter, newest.last(LOOKED_BACK), keys)
    seen |= around
    seen |= {key: side for key, side in matter.elsewhere.items() if not seen.get(key)}
    seen |= _moved(matter.moved, around)
    happened = happenings.before(
        conn, matter.press_id, first_shot_id=matter.low_shot_id, last_shot_id=matter.high_shot_id
    )
    found = causes.match(
        seen, single=matter.single, happenings={each.name for each in happened},
        untouched=happenings.untouched(conn, matter.press_id, matter.low_shot_id),
    )  # fmt: skip
    in_doubt = _in_doubt(conn, matter)
    if all(item.key in in_doubt for item in matter.moved):
        found = [*causes.of_data(replace(item, how=in_doubt[item.key]) for item in matter.moved), *found]
    return [cause.to_json() for cause in found[: causes.MOST]]


def _in_doubt(conn: sa.Connection, matter: Matter) -> dict[str, str]:
    """Keys that came into doubt since, with the newest rule that said so."""
    asked = {"press_id": matter.press_id, "low_shot_id": matter.low_shot_id}
    return {row.key: row.rule for row in conn.execute(_IN_DOUBT_SINCE, asked)}


def _moved(moved: Iterable[Moved], around: dict[str, int]) -> dict[str, int]:
    """Directions of what signaled; a chart tells which limit was passed, values tell of scatter."""
    return {
        item.key: SCATTERED if around.get(item.key) == SCATTERED else item.direction for item in moved
    }


def _around(matter: Matter, newest: Newest, keys: Collection[str]) -> dict[str, int]:
    """What every reported value did that the fault table speaks of."""
    low, first, end = np.searchsorted(
        newest.ids, (matter.low_shot_id, matter.first_shot_id, matter.last_shot_id + 1)
    )
    before = slice(max(low - beside.BEFORE_SHOTS, 0), low)
    touched: slice | NDArray[np.bool_] = slice(max(first, end - beside.RECENT_SHOTS), end)
    if matter.single:
        touched = np.isin(newest.ids, list(matter.bad_shots))
    return beside.directions(
        {key: newest.values[key][before] for key in keys}, {key: newest.values[key][touched] for key in keys}
    )
