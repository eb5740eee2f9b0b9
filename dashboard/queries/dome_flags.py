"""Which discs were flagged before they were gauged: by a signal of their shot, or by an alarm's hold."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from typing import Any

import numpy as np
import pandas as pd
import sqlalchemy as sa
from sqlalchemy.engine import Connection

from collector.store.tables import alarms, holds, shots, signals

_CHUNK = 500


def flagged(conn: Connection, discs: pd.DataFrame) -> pd.DataFrame:
    """Add whether a disc lies on an alarm's hold, and how long before the gauging it was flagged."""
    intervals = _hold_intervals(conn)
    inside = [[_is_inside(each, row) for each in intervals] for row in _places(discs)]
    lead = [
        _lead_h(row, [each for each, hit in zip(intervals, hits, strict=True) if hit])
        for row, hits in zip(discs.to_dict("records"), inside, strict=True)
    ]
    return discs.assign(
        on_hold=np.array([any(hits) for hits in inside], dtype=bool),
        signaled=discs["signaled"].astype(bool),
        lead_h=np.array(lead, dtype=float),
    )


def flags_by_key(conn: Connection, discs: pd.DataFrame) -> dict[str, list[bool]]:
    """For each characteristic that ever signaled: which discs it flagged, itself or by its alarm's hold."""
    keys = _signaled_keys(conn, list(discs["shot_id"]))
    by_alarm = _alarm_keys(conn)
    for interval in _hold_intervals(conn):
        inside = [_is_inside(interval, row) for row in _places(discs)]
        for key in by_alarm.get(interval["alarm_id"], ()):
            keys.setdefault(key, set()).update(discs.loc[inside, "shot_id"])
    return {key: [shot_id in ids for shot_id in discs["shot_id"]] for key, ids in sorted(keys.items()) if ids}


def _lead_h(disc: Mapping[Any, Any], around: Sequence[sa.RowMapping]) -> float:
    """Hours from the flag to the gauging; a disc before the first signal was flagged by that signal."""
    if disc["gauged_at"] is None or pd.isna(disc["gauged_at"]) or pd.isna(_number(disc["age_h"])):
        return float("nan")
    if disc["signaled"] or not around:
        return float(disc["age_h"])
    first = min(each["first_signal_at"] for each in around)
    return float((disc["gauged_at"] - max(first, disc["ended_at"])).total_seconds() / 3600)


def _hold_intervals(conn: Connection) -> Sequence[sa.RowMapping]:
    """Holds that an alarm of the process opened, closed ones too, with the time of its first signal.

    A hold that an out-of-tolerance gauging opened is no flag: it would foretell what it follows from.
    """
    first, last, signaling = (shots.alias(name) for name in ("first", "last", "signaling"))
    query = (
        sa.select(
            holds.c.press_id, holds.c.alarm_id,
            first.c.ended_at.label("from_at"), last.c.ended_at.label("to_at"),
            sa.func.coalesce(signaling.c.ended_at, alarms.c.opened_at).label("first_signal_at"),
        )
        .join(alarms, alarms.c.id == holds.c.alarm_id)
        .join(first, first.c.id == holds.c.from_shot_id)
        .outerjoin(last, last.c.id == holds.c.to_shot_id)
        .outerjoin(signaling, signaling.c.id == alarms.c.first_shot_id)
        .where(alarms.c.kind != "gauging")
    )  # fmt: skip
    return conn.execute(query).mappings().all()


def _is_inside(interval: sa.RowMapping, place: tuple[int, datetime]) -> bool:
    """Whether a shot of a press lies in a hold: by time, since a late shot has a later number."""
    press_id, ended_at = place
    inside: bool = interval["from_at"] <= ended_at and (
        interval["to_at"] is None or ended_at <= interval["to_at"]
    )
    return inside and press_id == interval["press_id"]


def _places(discs: pd.DataFrame) -> list[tuple[int, datetime]]:
    return list(zip(discs["press_id"], discs["ended_at"], strict=True))


def _signaled_keys(conn: Connection, shot_ids: list[int]) -> dict[str, set[int]]:
    keys: dict[str, set[int]] = {}
    for ids in chunks(shot_ids):
        of_shots = (signals.c.shot_id.in_(ids), signals.c.withdrawn.is_(False))
        for row in conn.execute(sa.select(signals.c.key, signals.c.shot_id).where(*of_shots)):
            keys.setdefault(row.key, set()).add(row.shot_id)
    return keys


def _alarm_keys(conn: Connection) -> dict[int, set[str]]:
    query = sa.select(signals.c.alarm_id, signals.c.key).where(
        signals.c.alarm_id.is_not(None), signals.c.withdrawn.is_(False)
    )
    keys: dict[int, set[str]] = {}
    for row in conn.execute(query.distinct()):
        keys.setdefault(row.alarm_id, set()).add(row.key)
    return keys


def chunks(ids: Sequence[int]) -> Iterator[list[int]]:
    """A few hundred at a time: a statement takes only so many."""
    return ([int(each) for each in ids[start : start + _CHUNK]] for start in range(0, len(ids), _CHUNK))


def _number(age: Any) -> float:
    return float("nan") if age is None else float(age)
