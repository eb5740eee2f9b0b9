"""Approve limits: a phase I study over the steady shots of a run, signed by a person.

The service never does this by itself. Approved limits belong to a context (press, mold, blend, color, recipe
version) and hold from the next shot on; the versions before them are retired, not deleted.
"""

from __future__ import annotations

import numpy as np
import sqlalchemy as sa

from collector.clock import ServiceClock
from collector.contract import quantities
from collector.engine import DEFAULT_CYCLE_S, Policy
from collector.errors import NotAllowed
from collector.plan import Budget, KeyLimits, plan_key, watch_timer
from collector.store import database, journal, limits, restarts, runs, shots
from collector.store.tables import presses
from collector.store.tables import runs as runs_table
from rules.baseline import study
from rules.charts.chart import FloatArray

SMALLEST = 25


def approve_from_run(
    engine: sa.Engine, run_id: int, *, policy: Policy, who: str, why: str, clock: ServiceClock
) -> list[KeyLimits]:
    """Study every charted characteristic of a run and put its limits in force.

    Parameters
    ----------
    engine : Engine
    run_id : int
        The run whose steady shots are the baseline.
    policy : Policy
        Which characteristics are charted, and the false-alarm budget.
    who, why : str
        Who approves, and for which reason; both go to the journal.
    clock : ServiceClock

    Returns
    -------
    list of KeyLimits
        What is in force from the next shot on.

    Raises
    ------
    NotAllowed
        The run has fewer than 25 steady shots of every characteristic.
    """
    with database.write(engine) as conn:
        press = conn.execute(
            sa.select(presses.c.id, presses.c.usual_cycle_s)
            .join(runs_table, runs_table.c.press_id == presses.c.id)
            .where(runs_table.c.id == run_id)
        ).one()
        context = runs.by_id(conn, run_id).context()
        made = _study(conn, run_id, policy, press.usual_cycle_s or DEFAULT_CYCLE_S)
        for each in made:
            each.approved_by = who
            limits.retire(conn, press.id, context, each.key, at=clock.now())
            limits.insert(
                conn, press.id, each, context=context, run_id=None, from_shot_id=None, at=clock.now(),
                reason=why,
            )
        restarts.ask(conn, press.id, at=clock.now(), who=who, why=f"limits approved: {why}")
        journal.append(
            conn, at=clock.now(), wall_at=clock.wall(), who=who, action="approve limits",
            subject=f"run {run_id}", why=why,
            after={each.key: {"limits": each.id, **each.baseline.to_dict()} for each in made},
        )
    return made


def _study(conn: sa.Connection, run_id: int, policy: Policy, cycle_s: float) -> list[KeyLimits]:
    columns = _steady_columns(conn, run_id, policy)
    measured = {key: x for key, x in columns.items() if not _is_timer(key)}
    floor = Budget(
        false_alarms_per_day=policy.false_alarms_per_day,
        characteristics=max(len(measured), 1),
        cycle_time_s=cycle_s,
    )
    made = [
        plan_key(key, study(x).baseline, floor, version=1, minimum_shift=policy.minimum_shift.get(key, 0.0))
        for key, x in measured.items()
    ]
    made += [watch_timer(key, float(np.median(x)), version=1) for key, x in columns.items() if _is_timer(key)]
    if not made:
        raise NotAllowed(f"run {run_id} has fewer than {SMALLEST} steady shots; let it run on first")
    return made


def _steady_columns(conn: sa.Connection, run_id: int, policy: Policy) -> dict[str, FloatArray]:
    wanted = [key for key in shots.keys(conn, run_id=run_id) if _is_charted(key, policy)]
    frame = shots.values(conn, run_id=run_id, keys=wanted, phases=("baseline", "charted"))
    columns = {key: frame[key].dropna().to_numpy(dtype=float) for key in wanted}
    return {key: x for key, x in columns.items() if len(x) >= SMALLEST}


def _is_charted(key: str, policy: Policy) -> bool:
    return key in policy.vital or _is_timer(key) or quantities.find(key) is None


def _is_timer(key: str) -> bool:
    quantity = quantities.find(key)
    return quantity is not None and quantity.timer
