"""The run that is open on a press, what the press reports now, and the recipes there are."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from collector import press_clock
from collector.store import events, gaps, recipes, runs
from collector.store.presses import load_engine_state
from collector.store.recipes import RecipeRow
from collector.store.runs import FORM, RunRow
from collector.store.tables import presses


@dataclass(frozen=True, slots=True, kw_only=True)
class Now:
    """What goes on at a press.

    Attributes
    ----------
    run : RunRow or None
        The open run.
    lot : str or None
        The lot in force.
    setpoints : mapping of str to float
        Reported and in force, canonical units.
    clock : str or None
        What has to be said of the press's clock.
    missing : int
        Shots that it counted and that never arrived.
    recipes : list of RecipeRow
        Every version there is.
    named_by_press : str or None
        The run that the press itself named last, in its shots or in a message.
    """

    run: RunRow | None
    lot: str | None
    setpoints: Mapping[str, float]
    clock: str | None
    missing: int
    recipes: list[RecipeRow]
    named_by_press: str | None = None

    @property
    def taken_over(self) -> str | None:
        """The run that the press names, where a person's run has its shots."""
        if self.run is None or self.run.opened_by != FORM or self.named_by_press == self.run.name:
            return None
        return self.named_by_press

    @property
    def is_qualified(self) -> bool:
        """Whether the run has a recipe that shots are held against."""
        return self.run is not None and bool(self.run.setpoints)


def read_now(conn: Connection, press_id: int, name: str) -> Now:
    """Read what goes on at a press."""
    state = load_engine_state(conn, press_id) or {}
    run_id = state.get("run_id")
    run = None if run_id is None else runs.by_id(conn, run_id)
    lot = None if run is None else events.last_lot(conn, press_id, run.id) or run.lot
    clock = sa.select(presses.c.clock_behind_s).where(presses.c.id == press_id)
    behind_s = conn.execute(clock).scalar() or 0.0
    far = abs(behind_s) > press_clock.FAR_S
    return Now(
        run=run, lot=lot, setpoints=state.get("setpoints", {}),
        clock=press_clock.words(behind_s) if far else None,
        missing=sum(gap.missing for gap in gaps.listed(conn, press=name)), recipes=recipes.listed(conn),
        named_by_press=state.get("told_run"),
    )
