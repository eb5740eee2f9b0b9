"""Runs that only files told of and nobody named end when no shot has come for as long as parts two runs.

A named run ends with its file. A run that a press tells live stays open: that it is quiet may be a fault.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import sqlalchemy as sa

from collector.run_names import MQTT, SPARKPLUG
from collector.store import events, presses, runs
from collector.store.tables import presses as presses_table
from collector.store.tables import runs as runs_table
from collector.store.tables import shots


def end(conn: sa.Connection, site: str, *, now: datetime, after: timedelta) -> list[str]:
    """Close them, and give their names.

    Parameters
    ----------
    conn : Connection
        A writing transaction.
    site : str
    now : datetime
        Floor time.
    after : timedelta
        Time since the newest shot.
    """
    quiet = _quiet(site, before=now - after)
    ended = []
    for press_id in presses.in_lock_order(conn, {row.press_id for row in conn.execute(quiet)}):
        presses.lock(conn, press_id)  # and only then look, as a shot may have come meanwhile
        for row in conn.execute(quiet.where(runs_table.c.press_id == press_id)).all():
            runs.close_run(conn, row.id, at=row.last_shot_at)
            events.insert(conn, [_said(row, after)])
            ended.append(row.name)
    return ended


def _quiet(site: str, *, before: datetime) -> sa.Select[tuple[int, int, str, datetime]]:
    its, press, c = runs_table.c, presses_table.c, shots.c
    live = sa.select(c.id).where(c.run_id == its.id, c.source.in_((MQTT, SPARKPLUG))).exists()
    query = sa.select(its.press_id, its.id, its.name, press.last_shot_at)
    query = query.join(presses_table, press.id == its.press_id).order_by(its.press_id)
    open_run = (its.closed_at.is_(None), its.opened_by == runs.INFERRED)
    return query.where(press.site == site, press.last_shot_at < before, *open_run, ~live)


def _said(row: sa.Row[tuple[int, int, str, datetime]], after: timedelta) -> dict[str, Any]:
    note = f"closed: no shot came for {after / timedelta(hours=1):g} h"
    return events.row(
        row.press_id, "run", at=row.last_shot_at, source="service", old=row.name, note=note
    )
