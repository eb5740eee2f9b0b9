"""What the floor screen shows: the last two hours of every press, and what needs a person.

Every statement reads an index over a stretch of time or a handful of rows, so the cost follows the
shots on the screen, not the shots in the store.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection, Row

from collector.actions.first_shot import is_approved
from collector.alarms.causes import to_name
from collector.store import events, holds
from collector.store.probe import why_not_writable
from collector.store.runs import newest_first
from collector.store.tables import alarms, heartbeats, presses, runs, shots
from collector.store.types import to_micros
from dashboard.queries import provisional
from dashboard.queries.floor_activity import activity
from dashboard.queries.floor_facts import (
    WINDOW,
    AlarmFacts,
    Floor,
    Lane,
    LastShot,
    Mark,
    RunFacts,
)
from dashboard.queries.hold_extent import held

COLLECTOR = "collector"
COLLECTOR_SILENT_AFTER = timedelta(seconds=15)


def read_floor(
    conn: Connection,
    *,
    site: str,
    now: datetime,
    wall: datetime,
    stop_cycles: float = 5.0,
    gaugings_due: int = 0,
    first_shot_approval: bool = False,
) -> Floor:
    """Read the floor of one site.

    Parameters
    ----------
    conn : Connection
    site : str
        Presses of this site, by name.
    now, wall : datetime
        Service and wall time, aware.
    stop_cycles : float
        A pause of this many usual cycles counts as silence.
    gaugings_due : int
        Counted by the caller, since it changes by the hour and not by the shot.
    first_shot_approval : bool
        Whether a person has to approve the first discs of a run.

    Returns
    -------
    Floor
    """
    seen, silent_for = _collector(conn, wall)
    blocked = None if silent_for is None or seen is None else why_not_writable(conn.engine)
    # While nothing can be stored, no press can be heard: none is called silent for that.
    heard_until = now if blocked is None or seen is None else seen
    rows = conn.execute(sa.select(presses).where(presses.c.site == site)).all()
    by_press = _marks(conn, [row.id for row in rows], now)
    lanes = tuple(_lane(conn, row, by_press.get(row.id, ()), heard_until, stop_cycles) for row in rows)
    if first_shot_approval:
        lanes = tuple(replace(lane, first_shot_waits=_first_shot_waits(conn, lane)) for lane in lanes)
    return Floor(
        now=now,
        lanes=tuple(sorted(lanes, key=lambda lane: _natural(lane.name))),
        gaugings_due=gaugings_due,
        collector_seen_at=seen,
        collector_silent_for=silent_for,
        service_alarm=_service_alarm(conn, site),
        store_problem=blocked,
    )


def _first_shot_waits(conn: Connection, lane: Lane) -> bool:
    run, last = lane.run, lane.last
    if run is None or run.closed_at is not None or last is None or last.run_id != run.id:
        return False
    return not is_approved(conn, run.id)


def _natural(name: str) -> list[tuple[int, int, str]]:
    """Sort key in which P2 comes before P10."""
    parts = re.split(r"(\d+)", name)
    return [(0, int(part), "") if part.isdigit() else (1, 0, part) for part in parts]


def _marks(conn: Connection, press_ids: Sequence[int], now: datetime) -> dict[int, tuple[Mark, ...]]:
    """Shots of the window by press, oldest first. Times stay integers: thousands of them every second."""
    at = sa.type_coerce(shots.c.ended_at, sa.BigInteger)
    columns = (at, shots.c.phase, shots.c.share, shots.c.signaled)
    found: dict[int, tuple[Mark, ...]] = {}
    for press_id in press_ids:
        rows = conn.execute(
            sa.select(*columns)
            .where(shots.c.press_id == press_id, at >= to_micros(now - WINDOW), at <= to_micros(now))
            .order_by(at)
        )
        found[press_id] = tuple(Mark(*row) for row in rows.all())  # at once: a call a row is slow
    return found


def _lane(
    conn: Connection, press: Row[Any], marks: tuple[Mark, ...], now: datetime, stop_cycles: float
) -> Lane:
    run = _newest_run(conn, press.id)
    last = _last_shot(conn, press.id)
    doing, quiet_since = activity(press, run, last, now, stop_cycles)
    unclosed = _open_alarms(conn, press.id)
    open_alarms = [row for row in unclosed if row.beneath is None]
    rows = holds.open_holds(conn, press_id=press.id)
    own = [row for row in rows if open_alarms and row.alarm_id == open_alarms[0].id]
    hold = held(conn, press.id, rows)
    run_id = None if last is None else last.run_id
    nobodys = provisional.of_run(conn, press.id, run_id)
    return Lane(
        press_id=press.id,
        name=press.name,
        state=press.state,
        activity=doing,
        quiet_since=quiet_since,
        usual_cycle_s=press.usual_cycle_s,
        run=run,
        last=last,
        marks=marks,
        steady_shots=_steady_shots(conn, last),
        provisional=bool(nobodys),
        studyable=provisional.can_be_studied(conn, run_id, nobodys),
        alarm=_alarm_facts(conn, open_alarms[0]) if open_alarms else None,
        alarms_open=len(open_alarms),
        alarms_quiet=len(unclosed) - len(open_alarms),
        hold=hold,
        alarm_hold=held(conn, press.id, own) if len(own) < len(rows) else hold,
    )


def _newest_run(conn: Connection, press_id: int) -> RunFacts | None:
    row = conn.execute(
        sa.select(
            runs.c.id, runs.c.name, runs.c.mold, runs.c.blend, runs.c.lot, runs.c.opened_at, runs.c.closed_at
        )
        .where(runs.c.press_id == press_id)
        .order_by(*newest_first())
        .limit(1)
    ).first()
    if row is None:
        return None
    lot = events.last_lot(conn, press_id, row.id) or row.lot
    return RunFacts(**{**row._mapping, "lot": lot})


def _last_shot(conn: Connection, press_id: int) -> LastShot | None:
    row = conn.execute(
        sa.select(
            shots.c.counter,
            shots.c.ended_at,
            shots.c.phase,
            shots.c.share,
            shots.c.run_id,
            shots.c.characteristics,
        )
        .where(shots.c.press_id == press_id)
        .order_by(shots.c.ended_at.desc())
        .limit(1)
    ).first()
    if row is None:
        return None
    return LastShot(
        counter=row.counter,
        ended_at=row.ended_at,
        phase=row.phase,
        share=row.share,
        run_id=row.run_id,
        cycle_time_s=row.characteristics.get("cycle_time"),
    )


def _steady_shots(conn: Connection, last: LastShot | None) -> int | None:
    """Steady shots gathered towards limits; None once the run has them (then a run may be long)."""
    if last is None or last.run_id is None or last.phase == "charted":
        return None
    return conn.execute(
        sa.select(sa.func.count())
        .select_from(shots)
        .where(shots.c.run_id == last.run_id, shots.c.phase == "baseline")
    ).scalar_one()


def _open_alarms(conn: Connection, press_id: int) -> Sequence[Row[Any]]:
    """Alarms that are not closed, what is happening now first, then the newest."""
    return conn.execute(
        sa.select(alarms)
        .where(alarms.c.press_id == press_id, alarms.c.closed_at.is_(None), alarms.c.kind != "silence")
        .order_by(alarms.c.state.startswith("active").desc(), alarms.c.opened_at.desc())
    ).all()


def _service_alarm(conn: Connection, site: str) -> str | None:
    """The newest alarm that the service of a site raised about itself and that is there now."""
    query = sa.select(alarms.c.headline).where(
        alarms.c.press_id.is_(None), alarms.c.closed_at.is_(None), alarms.c.site == site,
        alarms.c.state.startswith("active"),
    )
    return conn.execute(query.order_by(alarms.c.id.desc()).limit(1)).scalar()


def _alarm_facts(conn: Connection, alarm: Row[Any]) -> AlarmFacts:
    first_id = alarm.change_shot_id or alarm.first_shot_id
    change = conn.execute(sa.select(shots.c.counter, shots.c.ended_at).where(shots.c.id == first_id)).first()
    return AlarmFacts(
        id=alarm.id,
        kind=alarm.kind,
        state=alarm.state,
        headline=alarm.headline,
        opened_at=alarm.opened_at,
        cause=to_name(alarm.causes),
        change_counter=change.counter if change else None,
        change_at=change.ended_at if change else None,
        provisional=provisional.is_under_alarm(conn, alarm.id),
    )


def _collector(conn: Connection, wall: datetime) -> tuple[datetime | None, timedelta | None]:
    """When the collector was last seen, and for how long it has been quiet if that is too long."""
    row = conn.execute(
        sa.select(heartbeats.c.at, heartbeats.c.wall_at).where(heartbeats.c.name == COLLECTOR)
    ).first()
    if row is None:
        return None, timedelta.max
    quiet = wall - row.wall_at
    return row.at, quiet if quiet > COLLECTOR_SILENT_AFTER else None
