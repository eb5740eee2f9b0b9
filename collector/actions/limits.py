"""Approve limits: a phase I study over the steady shots of a run, signed by a person.

The service never does this by itself. Approved limits belong to a context (press, mold, blend, color, recipe
version) and hold from the next shot on; the versions before them are retired, not deleted.
"""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd
import sqlalchemy as sa

from collector.clock import ServiceClock
from collector.contract import quantities
from collector.errors import NotAllowed
from collector.plan import Budget, KeyLimits, plan_key, watch_timer
from collector.store import database, journal, limits, restarts, runs, shots
from collector.store.tables import presses
from collector.store.tables import runs as runs_table
from collector.verdict import DEFAULT_CYCLE_S, Policy
from rules.baseline import study

SMALLEST = 25
NAMED = 3


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
        press_id = conn.execute(
            sa.select(runs_table.c.press_id).where(runs_table.c.id == run_id)
        ).scalar_one()
        context = runs.by_id(conn, run_id).context()
        made = [each.limits for each in propose(conn, run_id, policy)]
        for each in made:
            each.approved_by = who
            limits.retire(conn, press_id, context, each.key, at=clock.now())
            limits.insert(
                conn, press_id, each, context=context, run_id=None, from_shot_id=None, at=clock.now(),
                reason=why,
            )
        restarts.ask(conn, press_id, at=clock.now(), who=who, why=f"limits approved: {why}")
        journal.append(
            conn, at=clock.now(), wall_at=clock.wall(), who=who, action="approve limits",
            subject=f"run {run_id}", why=why,
            after={each.key: {"limits": each.id, **each.baseline.to_dict()} for each in made},
        )
    return made


@dataclass(frozen=True, slots=True)
class Proposal:
    """Limits that a study of a run proposes, and what a person should know before approving them."""

    limits: KeyLimits
    notes: tuple[str, ...]


def propose(conn: sa.Connection, run_id: int, policy: Policy) -> list[Proposal]:
    """Study the steady shots of a run; nothing is changed.

    Returns
    -------
    list of Proposal
        One for each charted characteristic with 25 steady values or more.

    Raises
    ------
    NotAllowed
        No characteristic has so many.
    """
    columns = _steady_columns(conn, run_id, policy)
    if not columns:
        raise NotAllowed(f"run {run_id} has fewer than {SMALLEST} steady shots; let it run on first")
    watched = {key for key, column in columns.items() if quantities.is_timer(key) or column.nunique() == 1}
    floor = Budget(
        false_alarms_per_day=policy.false_alarms_per_day,
        characteristics=max(len(columns) - len(watched), 1),
        cycle_time_s=_usual_cycle_s(conn, run_id),
    )
    return [
        _watched(key, column) if key in watched else _charted(key, column, floor, policy)
        for key, column in columns.items()
    ]


def _charted(key: str, column: pd.Series[float], floor: Budget, policy: Policy) -> Proposal:
    found = study(column.to_numpy())
    minimum = policy.minimum_shift.get(key, 0.0)
    made = plan_key(key, found.baseline, floor, version=1, minimum_shift=minimum)
    explained = found.notes[: len(found.notes) - len(found.outliers)]
    return Proposal(made, (*explained, *_standing_out(column, found.outliers)))


def _standing_out(column: pd.Series[float], outliers: tuple[int, ...]) -> tuple[str, ...]:
    """Shots to look at, by their counters; the first ones are named."""
    if not outliers:
        return ()
    named = ", ".join(f"{int(column.index[place]):,}" for place in outliers[:NAMED])
    more = f" and {len(outliers) - NAMED} more" if len(outliers) > NAMED else ""
    return (f"Look at shots that stand out: {named}{more}.",)


def _watched(key: str, column: pd.Series[float]) -> Proposal:
    made = watch_timer(key, float(column.median()), version=1)
    return Proposal(made, ("Watched for change, not charted.",))


def _usual_cycle_s(conn: sa.Connection, run_id: int) -> float:
    query = sa.select(presses.c.usual_cycle_s).join(runs_table, runs_table.c.press_id == presses.c.id)
    found: float | None = conn.execute(query.where(runs_table.c.id == run_id)).scalar_one()
    return found or DEFAULT_CYCLE_S


def _steady_columns(conn: sa.Connection, run_id: int, policy: Policy) -> dict[str, pd.Series[float]]:
    """Values of each characteristic that has enough, by the shots' counters."""
    wanted = [key for key in shots.keys(conn, run_id=run_id) if _is_charted(key, policy)]
    frame = shots.values(conn, run_id=run_id, keys=wanted, phases=("baseline", "charted"))
    frame.index = pd.Index(frame["counter"].fillna(frame["id"]))
    columns = {key: frame[key].dropna() for key in wanted}
    return {key: column for key, column in columns.items() if len(column) >= SMALLEST}


def _is_charted(key: str, policy: Policy) -> bool:
    return key in policy.vital or quantities.is_timer(key) or quantities.find(key) is None
