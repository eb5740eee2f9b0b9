"""Reading what the measures of the alarms need: calls, lives, what is kept quiet, what the gauge said."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any

import sqlalchemy as sa

from collector.alarms.measures import CALLING, DAYS, Call, Life, Measures, measure, waits
from collector.contract import quantities
from collector.store import alarms as alarm_store
from collector.store import places, set_asides
from collector.store.tables import alarm_steps, alarms, gaugings, presses, runs, shots

QUIET_AT_ONCE = ("suppress", "take_out")
USUAL_CYCLE_S = 60.0
OF_DISCS = "dome"

# By mold, the lowest and highest dome that is allowed, mm; None where there is no such end.
Allowed = Mapping[str, tuple[float | None, float | None]]


def read_measures(
    conn: sa.Connection, *, now: datetime, operators: int, allowed: Allowed, days: float = DAYS
) -> Measures:
    """Measure the last days of a store.

    Parameters
    ----------
    conn : Connection
    now : datetime
        Floor time.
    operators : int
    allowed : mapping of str to (float or None, float or None)
        Tolerance of dome by mold, mm.
    days : float
        Not before the first shot of the store, so that a young store is not flattered.

    Returns
    -------
    Measures
    """
    since = _since(conn, now, days)
    rows = conn.execute(_lived(since)).mappings().all()
    steps = _steps(conn, [row["id"] for row in rows])
    calls = [
        Call(alarm_id=row["id"], at=at, about=_about(row))
        for row in rows
        for event, at in _told(steps.get(row["id"], ()))
        if event in CALLING and since <= at <= now
    ]
    lives = [_life(conn, row, steps.get(row["id"], ()), since, allowed) for row in rows]
    lasting = set_asides.lasting(conn)
    return measure(
        sorted(calls, key=lambda call: call.at), lives, since=since, until=now, operators=operators,
        shelved=sum(each.kind == set_asides.SHELVED for each in lasting),
        out_of_service=sum(each.kind == set_asides.OUT_OF_SERVICE for each in lasting),
    )


def _since(conn: sa.Connection, now: datetime, days: float) -> datetime:
    first = conn.execute(sa.select(shots.c.ended_at).order_by(shots.c.id).limit(1)).scalar()
    wanted = now - timedelta(days=days)
    return now if first is None else min(max(first, wanted), now)


def _lived(since: datetime) -> sa.Select[Any]:
    """Alarms that were not closed before a time."""
    columns = [alarms.c[name] for name in (
        "id", "press_id", "kind", "subject", "state", "beneath", "characteristics", "closed_at", "cause",
        "opened_at", "first_shot_id", "change_shot_id", "last_shot_id",
    )]  # fmt: skip
    return (
        sa.select(*columns, presses.c.name.label("press"), presses.c.usual_cycle_s, runs.c.mold)
        .outerjoin(presses, presses.c.id == alarms.c.press_id)
        .outerjoin(runs, runs.c.id == alarms.c.run_id)
        .where(sa.or_(alarms.c.closed_at.is_(None), alarms.c.closed_at >= since))
        .order_by(alarms.c.id)
    )


def _steps(conn: sa.Connection, ids: Sequence[int]) -> dict[int, list[tuple[str, datetime]]]:
    found: dict[int, list[tuple[str, datetime]]] = {}
    c = alarm_steps.c
    for start in range(0, len(ids), 500):
        query = sa.select(c.alarm_id, c.event, c.at).where(c.alarm_id.in_(ids[start : start + 500]))
        for row in conn.execute(query.order_by(c.id)):
            found.setdefault(row.alarm_id, []).append((row.event, row.at))
    return found


def _told(steps: Iterable[tuple[str, datetime]]) -> list[tuple[str, datetime]]:
    """The steps without those that were kept quiet in the same moment."""
    found: list[tuple[str, datetime]] = []
    for event, at in steps:
        if event in QUIET_AT_ONCE and found and found[-1][0] in CALLING and found[-1][1] == at:
            found.pop()
        found.append((event, at))
    return found


def _about(row: Mapping[Any, Any]) -> str:
    whose = row["press"] or "service"
    if row["kind"] == "silence":
        return f"{whose}: silence" if row["press"] else f"{whose}: {row['subject'].partition(':')[0]} silent"
    keys = [item["key"] for item in row["characteristics"]]
    return f"{whose}: {quantities.label(keys[0]) if keys else row['kind']}"


def _life(
    conn: sa.Connection,
    row: Mapping[Any, Any],
    steps: Sequence[tuple[str, datetime]],
    since: datetime,
    allowed: Allowed,
) -> Life:
    state = row["beneath"] or row["state"]
    began = [at for event, at in steps if event in ("occur", "reoccur")]
    recent = [(event, at) for event, at in _told(steps) if at >= since]
    return Life(
        id=row["id"],
        about=_about(row),
        cycle_s=row["usual_cycle_s"] or USUAL_CYCLE_S,
        waits_s=waits(recent),
        active_since=(began[-1] if began else row["opened_at"]) if state in alarm_store.ACTIVE else None,
        calls_now=row["beneath"] is None and row["state"].endswith("_unacknowledged"),
        closed=row["closed_at"] is not None,
        cause=row["cause"],
        dome=_dome(conn, row, allowed),
    )


def _dome(conn: sa.Connection, row: Mapping[Any, Any], allowed: Allowed) -> str | None:
    """What the discs of the shots that an alarm touched showed: any outside, all inside, None without any."""
    low, high = allowed.get(row["mold"] or "", (None, None))
    first = row["change_shot_id"] or row["first_shot_id"]
    if (low is None and high is None) or first is None or row["last_shot_id"] is None:
        return None
    ends = places.of(conn, (first, row["last_shot_id"]))
    touched = places.within(row["press_id"], ends[first], ends[row["last_shot_id"]])
    query = (
        sa.select(sa.func.min(gaugings.c.value), sa.func.max(gaugings.c.value))
        .join(shots, shots.c.id == gaugings.c.shot_id)
        .where(touched, gaugings.c.characteristic == OF_DISCS, gaugings.c.withdrawn_at.is_(None))
    )
    least, most = conn.execute(query).one()
    if least is None:
        return None
    outside = (low is not None and least < low) or (high is not None and most > high)
    return "outside" if outside else "inside"
