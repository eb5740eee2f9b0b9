"""One press over a stretch of time: values, limits in force, signals, events, holds, setpoints."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import pandas as pd
import sqlalchemy as sa
from sqlalchemy.engine import Connection, Row

from collector.plan import charts_from_json, drawn_limits
from collector.store import holds as hold_rows
from collector.store import shots as shot_rows
from collector.store.runs import newest_first
from collector.store.tables import events, limits, presses, runs, shots, signals

SEGMENT = (
    *("key", "from_shot_id", "run_id", "at", "until"),
    *("lower", "center", "upper", "standing", "charts", "cost"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """What the press page draws. Times are aware and UTC; frames may be empty but have their columns."""

    since: datetime
    until: datetime
    keys: tuple[str, ...]
    shots: pd.DataFrame
    limits: pd.DataFrame  # key, from_shot_id, run_id, at, until, lower, center, upper, standing, charts, cost
    signals: pd.DataFrame  # shot_id, key, kind, chart, rule
    events: pd.DataFrame  # at, shot_id, kind, key, old, new, note
    holds: pd.DataFrame  # at, until
    setpoints: pd.DataFrame  # key, at, until, value


def press_names(conn: Connection, site: str) -> dict[str, int]:
    """Presses of a site, name to id."""
    rows = conn.execute(sa.select(presses.c.name, presses.c.id).where(presses.c.site == site))
    return {row.name: row.id for row in rows}


def run_rows(conn: Connection, press_id: int, *, most: int = 60) -> Sequence[Row[*tuple[Any, ...]]]:
    """The newest runs of a press, the open one first: id, name, mold, blend, opened_at, closed_at."""
    columns = (runs.c.id, runs.c.name, runs.c.mold, runs.c.blend, runs.c.opened_at, runs.c.closed_at)
    query = sa.select(*columns).where(runs.c.press_id == press_id)
    return conn.execute(query.order_by(*newest_first()).limit(most)).all()


def has_shot_since(conn: Connection, press_id: int, since: datetime) -> bool:
    """Whether a press made any shot since then."""
    query = sa.select(shots.c.id).where(shots.c.press_id == press_id, shots.c.ended_at >= since)
    return conn.execute(query.limit(1)).first() is not None


def charted_keys(conn: Connection, press_id: int) -> tuple[str, ...]:
    """Keys that ever had limits on this press, in the order in which they first got them."""
    query = sa.select(limits.c.key).where(limits.c.press_id == press_id)
    return tuple(conn.execute(query.group_by(limits.c.key).order_by(sa.func.min(limits.c.id))).scalars())


def newest_units(conn: Connection, press_id: int) -> dict[str, str | None]:
    """Keys of the newest shot, each with the unit that was sent where that is the only one known."""
    row = conn.execute(
        sa.select(shots.c.characteristics, shots.c.originals)
        .where(shots.c.press_id == press_id)
        .order_by(shots.c.id.desc())
        .limit(1)
    ).first()
    if row is None:
        return {}
    sent = row.originals or {}
    return {key: sent[key][1] if key in sent else None for key in row.characteristics}


def read_view(
    conn: Connection, press_id: int, *, keys: Sequence[str], since: datetime, until: datetime
) -> View:
    """Read everything the page draws between two times (`until` included)."""
    after = until + pd.Timedelta(microseconds=1)
    frame = shot_rows.values(conn, press_id=press_id, keys=keys, since=since, until=after)
    happened = _events(conn, press_id, since, until)
    return View(
        since=since,
        until=until,
        keys=tuple(keys),
        shots=frame,
        limits=_limits(conn, press_id, keys, since, until),
        signals=_signals(conn, press_id, frame),
        events=happened,
        holds=_holds(conn, press_id, since, until),
        setpoints=_setpoints(conn, press_id, happened, since, until),
    )


def _limits(
    conn: Connection, press_id: int, keys: Sequence[str], since: datetime, until: datetime
) -> pd.DataFrame:
    """Versions in force at any moment of the stretch, each with the time from and until which it held."""
    first = shots.alias()
    query = (
        sa.select(limits, first.c.ended_at.label("begins"), runs.c.closed_at)
        .join(first, first.c.id == limits.c.from_shot_id)
        .join(runs, runs.c.id == limits.c.run_id, isouter=True)
        .where(limits.c.press_id == press_id, limits.c.key.in_(keys), first.c.ended_at <= until)
        .order_by(limits.c.key, limits.c.from_shot_id, limits.c.id)
    )
    rows = conn.execute(query).all()
    found = []
    for index, row in enumerate(rows):
        following = rows[index + 1] if index + 1 < len(rows) and rows[index + 1].key == row.key else None
        ends = [
            moment
            for moment in (until, row.retired_at, row.closed_at, following.begins if following else None)
            if moment is not None
        ]
        if min(ends) > since and min(ends) > row.begins:
            found.append(_segment(row, max(row.begins, since), min(ends)))
    return pd.DataFrame(found, columns=list(SEGMENT))


def _segment(row: Row[Any], at: datetime, until: datetime) -> dict[str, Any]:
    charts = charts_from_json(row.charts)
    lines = drawn_limits(charts)
    return {
        "key": row.key,
        "from_shot_id": row.from_shot_id,
        "run_id": row.run_id,
        "at": at,
        "until": until,
        "lower": lines.lower if lines else float("nan"),
        "center": lines.center if lines else float("nan"),
        "upper": lines.upper if lines else float("nan"),
        "standing": row.standing,
        "charts": charts,
        "cost": row.cost or {},
    }


def _signals(conn: Connection, press_id: int, frame: pd.DataFrame) -> pd.DataFrame:
    columns = ("shot_id", "key", "kind", "chart", "rule")
    if frame.empty:
        return pd.DataFrame(columns=list(columns))
    query = sa.select(*(signals.c[name] for name in columns)).where(
        signals.c.press_id == press_id,
        signals.c.shot_id.between(int(frame["id"].min()), int(frame["id"].max())),
        signals.c.withdrawn.is_(False),
    )
    return pd.DataFrame(conn.execute(query).all(), columns=list(columns))


def _events(conn: Connection, press_id: int, since: datetime, until: datetime) -> pd.DataFrame:
    columns = ("at", "shot_id", "kind", "key", "old", "new", "note")
    query = sa.select(*(events.c[name] for name in columns)).where(
        events.c.press_id == press_id, events.c.at >= since, events.c.at <= until
    )
    return pd.DataFrame(conn.execute(query.order_by(events.c.at, events.c.id)).all(), columns=list(columns))


def _holds(conn: Connection, press_id: int, since: datetime, until: datetime) -> pd.DataFrame:
    found = []
    for hold in hold_rows.open_holds(conn, press_id=press_id):
        at = _ended_at(conn, hold.from_shot_id)
        end = until if hold.to_shot_id is None else _ended_at(conn, hold.to_shot_id)
        if at is not None and end is not None and at <= until and end >= since:
            found.append({"at": max(at, since), "until": min(end, until)})
    return pd.DataFrame(found, columns=["at", "until"])


def _ended_at(conn: Connection, shot_id: int) -> datetime | None:
    return conn.execute(sa.select(shots.c.ended_at).where(shots.c.id == shot_id)).scalar_one_or_none()


def _setpoints(
    conn: Connection, press_id: int, happened: pd.DataFrame, since: datetime, until: datetime
) -> pd.DataFrame:
    """Steps of every setpoint: what the first shot reported, then every change."""
    first = conn.execute(
        sa.select(shots.c.setpoints)
        .where(shots.c.press_id == press_id, shots.c.ended_at >= since, shots.c.ended_at <= until)
        .order_by(shots.c.ended_at)
        .limit(1)
    ).scalar_one_or_none()
    changes = happened[(happened["kind"] == "setpoint") & happened["key"].notna()]
    steps = [{"key": key, "at": since, "value": value} for key, value in (first or {}).items()]
    steps += [{"key": row.key, "at": row.at, "value": row.new} for row in changes.itertuples()]
    frame = pd.DataFrame(steps, columns=["key", "at", "value"])
    frame["at"] = pd.to_datetime(frame["at"], utc=True)
    frame = frame.sort_values(["key", "at"], kind="stable")
    frame["until"] = frame.groupby("key")["at"].shift(-1).fillna(pd.Timestamp(until))
    return frame


def read_shot(conn: Connection, shot_id: int) -> Row[Any] | None:
    """One shot with its run, press and everything it measured."""
    query = (
        sa.select(shots, runs.c.name.label("run"), runs.c.mold, runs.c.blend, presses.c.name.label("press"))
        .join(presses, presses.c.id == shots.c.press_id)
        .join(runs, runs.c.id == shots.c.run_id, isouter=True)
        .where(shots.c.id == shot_id)
    )
    return conn.execute(query).one_or_none()


def shot_signals(conn: Connection, shot_id: int) -> Sequence[Row[*tuple[Any, ...]]]:
    """Signals of one shot."""
    query = sa.select(signals.c.key, signals.c.chart, signals.c.rule, signals.c.kind, signals.c.share)
    return conn.execute(
        query.where(signals.c.shot_id == shot_id, signals.c.withdrawn.is_(False)).order_by(signals.c.id)
    ).all()
