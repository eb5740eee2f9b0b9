"""Every table, one module a family; a new family is one module and its line here.

Times are :class:`collector.store.types.UtcTime`. `at` is service (floor) time unless the name says wall.
"""

from __future__ import annotations

from collector.store.tables.alarms import alarm_steps, alarms, hold_steps, holds, set_asides
from collector.store.tables.archive import archives
from collector.store.tables.base import metadata
from collector.store.tables.charts import chart_restarts, engine_states, limits, signals
from collector.store.tables.delivery import channels, notices, outbox, reports
from collector.store.tables.floor import events, presses, recipes, runs
from collector.store.tables.gaugings import gaugings
from collector.store.tables.intake import counter_gaps, imports, past_runs, refusals, withdrawn_shots
from collector.store.tables.leases import collectors, leases
from collector.store.tables.people import (
    accounts,
    journal,
    sign_in_attempts,
    sign_in_codes,
    sign_in_keys,
    sign_in_states,
    sign_ins,
)
from collector.store.tables.service import clocks, heartbeats, job_results
from collector.store.tables.shots import amendments, shots

__all__ = [
    "accounts",
    "alarm_steps",
    "alarms",
    "amendments",
    "archives",
    "channels",
    "chart_restarts",
    "clocks",
    "collectors",
    "counter_gaps",
    "engine_states",
    "events",
    "gaugings",
    "heartbeats",
    "hold_steps",
    "holds",
    "imports",
    "job_results",
    "journal",
    "leases",
    "limits",
    "metadata",
    "notices",
    "outbox",
    "past_runs",
    "presses",
    "recipes",
    "refusals",
    "reports",
    "runs",
    "set_asides",
    "shots",
    "sign_in_attempts",
    "sign_in_codes",
    "sign_in_keys",
    "sign_in_states",
    "sign_ins",
    "signals",
    "withdrawn_shots",
]
