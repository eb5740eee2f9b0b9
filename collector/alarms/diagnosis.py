"""What an alarm is often seen with, from everything its press reported around it."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass, replace
from typing import Any

import sqlalchemy as sa

from collector.alarms import beside, causes, evidence, happenings
from collector.alarms.causes import SCATTERED
from collector.alarms.fault_table import FAULTS
from collector.alarms.model import AlarmKind, Moved
from collector.store import doubts
from collector.store import shots as shot_store
from collector.store.tables import shots, signals

NAMED_IN_TABLE = frozenset(key for fault in FAULTS for pattern in fault.patterns for key in pattern)
LOOKED_BACK = 400  # shots from the newest one, within which a change is compared with what was before


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


def causes_of(
    conn: sa.Connection, matter: Matter, facts: Collection[evidence.Signaled]
) -> list[dict[str, Any]]:
    """The likely causes of an alarm, best fit first, as they are kept with it."""
    if matter.kind == "data":
        return [cause.to_json() for cause in causes.of_data(matter.moved)]
    seen = dict.fromkeys(evidence.charted_keys(conn, facts), 0)
    around = _around(conn, matter)
    seen |= around | _moved(matter.moved, around)
    happened = happenings.before(
        conn, matter.press_id, first_shot_id=matter.low_shot_id, last_shot_id=matter.high_shot_id
    )
    found = causes.match(seen, single=matter.single, happenings={each.name for each in happened})
    in_doubt = _in_doubt(conn, matter)
    if all(item.key in in_doubt for item in matter.moved):
        found = [*causes.of_data(replace(item, how=in_doubt[item.key]) for item in matter.moved), *found]
    return [cause.to_json() for cause in found[: causes.MOST]]


def _in_doubt(conn: sa.Connection, matter: Matter) -> dict[str, str]:
    """Keys that came into doubt since, with the newest rule that said so."""
    c = signals.c
    query = sa.select(c.key, c.rule).where(
        c.press_id == matter.press_id, c.shot_id >= matter.low_shot_id, c.kind == doubts.DATA,
        c.withdrawn.is_(False),
    )
    return {row.key: row.rule for row in conn.execute(query.order_by(c.id))}


def _moved(moved: Iterable[Moved], around: dict[str, int]) -> dict[str, int]:
    """Directions of what signaled; a chart tells which limit was passed, values tell of scatter."""
    return {
        item.key: SCATTERED if around.get(item.key) == SCATTERED else item.direction for item in moved
    }


def _around(conn: sa.Connection, matter: Matter) -> dict[str, int]:
    """What every reported value did that the fault table speaks of."""
    keys = [key for key in _reported(conn, matter) if key.partition(".")[0] in NAMED_IN_TABLE]
    if not keys:
        return {}
    frame = shot_store.values(
        conn, press_id=matter.press_id, keys=keys, phases=evidence.CHARTED, last=LOOKED_BACK
    )
    frame = doubts.without_doubted(conn, frame, keys, press_id=matter.press_id)
    ids = frame["id"]
    before = frame[ids < matter.low_shot_id].tail(beside.BEFORE_SHOTS)
    touched = frame[(ids >= matter.first_shot_id) & (ids <= matter.last_shot_id)].tail(beside.RECENT_SHOTS)
    if matter.single:
        touched = frame[ids.isin(matter.bad_shots)]
    return beside.directions(
        {key: before[key].to_numpy(dtype=float) for key in keys},
        {key: touched[key].to_numpy(dtype=float) for key in keys},
    )


def _reported(conn: sa.Connection, matter: Matter) -> list[str]:
    """Keys of the last shot that signaled."""
    query = sa.select(shots.c.characteristics).where(shots.c.id == matter.last_shot_id)
    return sorted(conn.execute(query).scalar() or {})
