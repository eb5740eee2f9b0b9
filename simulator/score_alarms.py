"""What the service told and held while it watched a story.

It is named by the true counters of the story, so that a counter that jumped or a message that came twice does
not hide which disc is meant.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa

from collector.alarms.lifecycle import CLEAR_AFTER_SHOTS
from collector.store import places
from collector.store.tables import alarms, holds, presses, shots, signals

Counters = Mapping[str, Mapping[int, int]]


@dataclass(frozen=True, slots=True)
class Call:
    """The true counter of a shot at which an alarm said something new, and the characteristics it named."""

    shot: int
    keys: frozenset[str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Raised:
    """One alarm of production.

    Attributes
    ----------
    kind : str
        "process", "recipe" or "data".
    calls : tuple of Call
        When it told people something new: when it opened, when another characteristic joined, and when it
        came back after it had cleared.
    charts : tuple of str
        "key chart rule" of its first shot.
    low, first, high : int
        True counters of the estimated first shot and its set.
    held : tuple of int or None
        First and last true counter of its hold.
    causes : tuple of int
        Rows of the fault table that it names, best fit first.
    """

    press: str
    kind: str
    calls: tuple[Call, ...]
    charts: tuple[str, ...]
    low: int
    first: int
    high: int
    held: tuple[int, int] | None
    headline: str
    causes: tuple[int, ...] = ()


def read_alarms(conn: sa.Connection, counters: Counters) -> tuple[Raised, ...]:
    """The alarms that nobody closed, in the order in which they opened.

    Parameters
    ----------
    conn : Connection
    counters : mapping
        True counter of every stored shot, by press and row id.
    """
    rows = conn.execute(
        sa.select(alarms, presses.c.name.label("press"))
        .join(presses)
        .where(alarms.c.closed_at.is_(None))  # those of the qualification are closed
        .order_by(alarms.c.id)
    )
    return tuple(_raised(conn, row, counters[row["press"]]) for row in rows.mappings().all())


def _raised(conn: sa.Connection, row: Mapping[Any, Any], true: Mapping[int, int]) -> Raised:
    found = conn.execute(
        sa.select(signals.c.shot_id, signals.c.key, signals.c.chart, signals.c.rule)
        .where(signals.c.alarm_id == row["id"])
        .order_by(signals.c.shot_id, signals.c.id)
    ).all()
    told = [(true[each.shot_id], each.key) for each in found if each.shot_id in true]
    opened = found[0].shot_id if found else row["first_shot_id"]
    low, first, high = (
        true.get(row[name] or row["first_shot_id"], true[opened])
        for name in ("change_low_shot_id", "change_shot_id", "change_high_shot_id")
    )
    return Raised(
        press=row["press"], kind=row["kind"], calls=_calls(told),
        charts=tuple(
            f"{each.key} {each.chart or 'recipe'} {each.rule}" for each in found if each.shot_id == opened
        ),
        low=low, first=first, high=high, held=_held(conn, row["id"], true), headline=row["headline"],
        causes=tuple(cause["row"] for cause in row["causes"] or ()),
    )  # fmt: skip


def _calls(told: Sequence[tuple[int, str]]) -> tuple[Call, ...]:
    """When an alarm said something new, from (shot, characteristic) of its signals."""
    by_shot: dict[int, set[str]] = defaultdict(set)
    for counter, key in told:
        by_shot[counter].add(key)
    calls: list[Call] = []
    known, last = set[str](), None
    for counter, keys in sorted(by_shot.items()):
        back = last is None or counter - last > CLEAR_AFTER_SHOTS
        if back or keys - known:
            calls.append(Call(counter, frozenset(keys if back else keys - known)))
        known |= keys
        last = counter
    return tuple(calls)


def _held(conn: sa.Connection, alarm_id: int, true: Mapping[int, int]) -> tuple[int, int] | None:
    """True counters between which an alarm's holds lie; lost messages between them are held, too."""
    c = holds.c
    query = sa.select(c.press_id, c.from_shot_id, c.to_shot_id).where(c.alarm_id == alarm_id)
    inside = [
        true[shot_id]
        for press_id, first, last in conn.execute(query).all()
        for shot_id in _between(conn, press_id, first, last)
        if shot_id in true
    ]
    return (min(inside), max(inside)) if inside else None


def _between(conn: sa.Connection, press_id: int, first: int, last: int | None) -> Sequence[int]:
    """Shots of a hold; one that came late has the newest id, but lies where it was made."""
    ends = places.of(conn, (first, last))
    inside = places.within(press_id, ends[first], None if last is None else ends[last])
    return conn.execute(sa.select(shots.c.id).where(inside)).scalars().all()
