"""Which run a shot falls in, and what a run brings with it: limits, recipe, startup shots."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from collector.contract.messages import RunMessage
from collector.contract.shot import Shot
from collector.press_rows import PressRows
from collector.press_state import PressState, under
from collector.sense import NOTHING
from collector.store import events, limits, runs
from collector.store.runs import RunRow

DESCRIPTION = ("mold", "blend", "lot", "color", "recipe", "recipe_version")
MQTT = "mqtt"  # what `collector.sources.mqtt` names itself
FILLABLE = ("mold", "blend", "lot", "color")


class PressRuns:
    """The runs of one press in one transaction. Pending shots are stored by the caller first."""

    def __init__(self, conn: sa.Connection, press_id: int, press_name: str, rows: PressRows) -> None:
        self.conn = conn
        self.press_id = press_id
        self.press_name = press_name
        self.rows = rows
        self._run: RunRow | None = None

    def current(self, state: PressState) -> RunRow | None:
        """The open run of a state."""
        if state.run_id is None:
            return None
        if self._run is None or self._run.id != state.run_id:
            self._run = runs.by_id(self.conn, state.run_id)
        return self._run

    def fits(self, state: PressState, shot: Shot) -> bool:
        """Whether a shot belongs to the open run."""
        run = self.current(state)
        return run is not None and shot.run in (None, run.name)

    def enter(self, state: PressState, shot: Shot) -> PressState:
        """Open the run a shot names; for a shot that names none and finds none, one is inferred."""
        name, opened_by = shot.run, _door(shot.source)
        if name is None:
            name, opened_by = f"{self.press_name}-{shot.ended_at:%Y%m%d-%H%M%S}", "inferred"
        known = runs.by_name(self.conn, self.press_id, name)
        run = known or runs.open_run(
            self.conn, self.press_id, name, at=shot.ended_at, opened_by=opened_by
        )
        return self._begin(state, run, at=shot.ended_at, source=shot.source)

    def message(self, state: PressState, message: RunMessage) -> PressState:
        """Open, describe or close a run."""
        if message.action == "close":
            return self._close(state, message)
        described = {name: getattr(message, name) for name in DESCRIPTION}
        known = runs.by_name(self.conn, self.press_id, message.run)
        if known is not None and known.id == state.run_id:
            self._describe(known, message, described)
            return self._redescribed(state, at=message.at)
        if known is not None and known.closed_at is not None and message.at <= known.closed_at:
            return state  # it ended since: the message, or the file, came again
        run = known or runs.open_run(
            self.conn, self.press_id, message.run, at=message.at, opened_by=_door(message.source), **described
        )
        return self._begin(state, run, at=message.at, source=message.source)

    def adopt_approved(self, state: PressState, *, at: datetime) -> PressState:
        """Put limits that a person approved since in the place of older or provisional ones."""
        for key, each in limits.approved(self.conn, self.press_id, state.context).items():
            held = state.keys.get(key)
            if held is None or held.limits is None or held.limits.id != each.id:
                state = replace(state, keys={**state.keys, key: under(each)})
                self.rows.event("limits", at=at, key=key, new=each.id, note=each.standing)
        return state

    def _begin(self, state: PressState, run: RunRow, *, at: datetime, source: str) -> PressState:
        before = self.current(state)
        if before is not None and before.closed_at is None:
            runs.close_run(self.conn, before.id, at=at)
        self._run = run
        old = None if before is None else before.name
        self.rows.event("run", at=at, source=source, old=old, new=run.name)
        fresh = replace(
            state.starting(), run_id=run.id, context=run.context(), recipe=run.setpoints, keys={},
            fresh=True, sense=NOTHING,
        )
        return self.adopt_approved(fresh, at=at)

    def _close(self, state: PressState, message: RunMessage) -> PressState:
        named = runs.by_name(self.conn, self.press_id, message.run)
        if named is None or _door(message.source) == "file" != named.opened_by:
            return state  # a file ends where it ends; a run that the floor opened goes on
        runs.close_run(self.conn, named.id, at=message.at)
        if named.id != state.run_id:
            return state
        self._run = None
        self.rows.event("run", at=message.at, source=message.source, old=named.name, note="closed")
        return replace(state, run_id=None)

    def _describe(self, run: RunRow, message: RunMessage, described: dict[str, Any]) -> None:
        """The same run again: a new lot is an event, what was not known is filled in."""
        lot, before = described["lot"], self._lot_in_force(run)
        if lot is not None and before is not None and lot != before:
            self.rows.event("lot", at=message.at, source=message.source, old=before, new=lot)
        missing = {name: described[name] for name in FILLABLE if described[name] and not getattr(run, name)}
        if run.recipe is None and message.recipe is not None:
            missing["recipe_id"] = runs.recipe_id(self.conn, message.recipe, message.recipe_version, run)
        if missing:
            runs.describe(self.conn, run.id, **missing)
            self._run = runs.by_id(self.conn, run.id)

    def _redescribed(self, state: PressState, *, at: datetime) -> PressState:
        """The state once more is known of its run: limits approved for that, and the recipe to check."""
        run = self.current(state)
        if run is None or run.context() == state.context:
            return state
        return self.adopt_approved(replace(state, context=run.context(), recipe=run.setpoints), at=at)

    def _lot_in_force(self, run: RunRow) -> str | None:
        unstored = self.rows.unstored("lot")
        return unstored[-1] if unstored else events.last_lot(self.conn, self.press_id, run.id) or run.lot


def _door(source: str) -> str:
    """By which door a run was named: a message, or the file that was imported."""
    return "message" if source == MQTT else "file"
