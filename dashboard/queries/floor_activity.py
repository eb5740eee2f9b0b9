"""Whether a press runs, is silent or idle. Pure."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from sqlalchemy.engine import Row

from dashboard.queries.floor_facts import WINDOW, Activity, LastShot, RunFacts


def activity(
    press: Row[Any], run: RunFacts | None, last: LastShot | None, now: datetime, stop_cycles: float
) -> tuple[Activity, datetime | None]:
    """Idle without an open run; silent when live shots stay away for longer than a stop."""
    last_at = last.ended_at if last else None
    if run is not None and run.closed_at is not None:
        return "idle", run.closed_at
    if run is None and last is None:
        return "idle", None
    since = last_at if last_at is not None else run.opened_at if run is not None else now
    if press.heard_at is not None:
        since = max(since, press.heard_at)  # the press's own clock may be behind
    if press.heard_at is None:  # known from files only: that none came says nothing of the press
        return ("idle", since) if now - since > WINDOW else ("running", None)
    patience = timedelta(seconds=max(stop_cycles * (press.usual_cycle_s or 60.0), 60.0))
    return ("silent", since) if now - since > patience else ("running", None)
