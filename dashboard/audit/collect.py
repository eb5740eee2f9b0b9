"""Taking the evidence of one run from the store. Reads only."""

from __future__ import annotations

import shlex
from collections.abc import Sequence
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from collector.errors import UserError
from collector.settings import Settings
from collector.store import journal
from collector.store import runs as run_rows
from collector.store.archives import is_archived
from collector.store.tables import presses, recipes, runs
from dashboard.audit import collect_alarms, collect_changes, collect_gaugings, collect_limits, collect_shots
from dashboard.audit.evidence import Evidence
from dashboard.audit.facts import RunFacts


def collect(
    conn: sa.Connection,
    run_id: int,
    *,
    settings: Settings,
    taken_at: datetime,
    left_out: Sequence[str] = (),
) -> Evidence:
    """All that the store holds about a run.

    Parameters
    ----------
    conn : Connection
        From :func:`collector.store.database.read`.
    run_id : int
    settings : Settings
        For the tolerances of the mold.
    taken_at : datetime
        Service time to note as the moment at which the evidence was taken.
    left_out : sequence of str
        Names of runs that the comparison leaves out, such as those with a complaint of their own.

    Returns
    -------
    Evidence

    Raises
    ------
    UserError
        The run has no shots, or its values are in the archive.
    """
    run = conn.execute(sa.select(runs).where(runs.c.id == run_id)).one()
    if is_archived(conn, run_id):
        raise UserError(
            f"the values of run {run.name} are in the archive; put them back with `evenrun archive --restore "
            f"{shlex.quote(run.name)}`, then audit it"
        )
    keys = collect_limits.charted_keys(conn, run)
    shot_list, values = collect_shots.read(conn, run_id, keys)
    if not len(shot_list):
        raise UserError(f"run {run.name} has no shots, so there is nothing to audit; choose another run")
    facts = _run_facts(conn, run)
    limits = collect_limits.in_force(conn, run, shot_list)
    found = collect_alarms.alarms_of(conn, run_id, shot_list)
    withdrawn, added = collect_alarms.changed_later(conn, run_id)
    timers = frozenset(each.key for each in limits if each.charts[0]["chart"] == "setting")
    return Evidence(
        taken_at=taken_at,
        run=facts,
        shots=collect_shots.facts(conn, run_id, shot_list),
        in_force=limits,
        events=collect_changes.happened(conn, run, shot_list),
        refused=collect_changes.refused(conn, run, facts.press, facts.site),
        amended=collect_changes.amended(conn, run, shot_list),
        signals=collect_alarms.signal_groups(conn, run_id, shot_list),
        signal_places=collect_alarms.signal_places(conn, run_id, shot_list),
        signals_withdrawn=withdrawn,
        signals_added_late=added,
        alarms=found,
        holds=collect_alarms.holds_of(conn, run_id, shot_list, found),
        gaugings=collect_gaugings.gauged(conn, run_id, shot_list),
        gaugings_withdrawn=collect_gaugings.withdrawn(conn, run_id),
        unjoined=collect_gaugings.unjoined(conn, run.name),
        tolerances=collect_gaugings.tolerances(settings.tolerance, run.mold),
        others=collect_gaugings.others(conn, run, keys, left_out),
        left_out=tuple(sorted(left_out)),
        archived_alike=collect_gaugings.archived_alike(conn, run, left_out),
        units={key: collect_shots.unit_of(conn, run_id, key) for key in keys},
        timers=timers,
        journal_head=journal.head(conn).hex(),
        journal_breaks=tuple(each.sentence for each in journal.verify(conn)),
        shot_list=shot_list,
        values=values,
    )


def _run_facts(conn: sa.Connection, run: sa.Row[Any]) -> RunFacts:
    press = conn.execute(sa.select(presses).where(presses.c.id == run.press_id)).one()
    recipe = conn.execute(sa.select(recipes).where(recipes.c.id == run.recipe_id)).one_or_none()
    return RunFacts(
        id=run.id, site=press.site, press=press.name, name=run.name, mold=run.mold, blend=run.blend,
        lot=run.lot, color=run.color, opened_at=run.opened_at, closed_at=run.closed_at,
        opened_by=run.opened_by, recipe=None if recipe is None else recipe.name,
        recipe_version=None if recipe is None else recipe.version,
        qualified_by=None if recipe is None else recipe.qualified_by,
        qualified_at=None if recipe is None else recipe.qualified_at,
        setpoints={} if recipe is None else recipe.setpoints or {},
        context=run_rows.by_id(conn, run.id).context(),
    )  # fmt: skip
