"""Which run a shot falls in, and what a run brings with it: limits, recipe, startup shots."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

import sqlalchemy as sa

from collector.contract.messages import RunMessage
from collector.contract.shot import Shot
from collector.identity import Last
from collector.press_rows import PressRows
from collector.press_state import PressState, under
from collector.run_names import door, is_file, over, takes_over, takes_shot_over, told
from collector.sense import NOTHING
from collector.store import events, limits, places, runs
from collector.store.runs import FILE, FORM, INFERRED, RunRow
from collector.store.tables import shots


class PressRuns:
    """The runs of one press in one transaction. Pending shots are stored by the caller first."""

    def __init__(
        self, conn: sa.Connection, press_id: int, press_name: str, rows: PressRows, *, new_after_stop_h: float
    ) -> None:
        self.conn = conn
        self.new_after_stop = timedelta(hours=new_after_stop_h)
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

    def fits(self, state: PressState, shot: Shot, last: Last | None) -> bool:
        """Whether a shot belongs to the open run; `last` is the newest shot, judged or not."""
        run = self.current(state)
        if run is None:
            return False
        if shot.run not in (None, run.name):
            return takes_shot_over(state, run, shot)
        if shot.run is None and shot.mold is not None and shot.mold != run.mold:
            return run.mold is None and self._is_told_mold(run, shot.mold)
        # A run that somebody named lasts over a weekend; one that was only inferred has no reason to.
        stopped = run.opened_by == INFERRED and last is not None and shot.run is None
        return not (stopped and last is not None and shot.ended_at - last.ended_at > self.new_after_stop)

    def _is_told_mold(self, run: RunRow, mold: str) -> bool:
        """The shot is the first to say which mold the run has."""
        runs.describe(self.conn, run.id, mold=mold)
        self._run = runs.by_id(self.conn, run.id)
        return True

    def enter(self, state: PressState, shot: Shot) -> PressState:
        """Open the run a shot names; for a shot that names none and finds none, one is inferred."""
        name, opened_by, why = shot.run, door(shot.source), None
        if name is None:
            name, opened_by = f"{self.press_name}-{shot.ended_at:%Y%m%d-%H%M%S}", INFERRED
            why = self._why_inferred(state, shot)
        known = runs.by_name(self.conn, self.press_id, name)
        run = known or runs.open_run(
            self.conn, self.press_id, name, at=shot.ended_at, opened_by=opened_by, mold=shot.mold
        )
        return self._begin(state, run, at=shot.ended_at, source=shot.source, note=why)

    def _why_inferred(self, state: PressState, shot: Shot) -> str:
        run = self.current(state)
        if run is None:
            return "inferred: shots came and nobody had named a run"
        if shot.mold is not None and shot.mold != run.mold:
            return f"inferred: the mold changed from {run.mold} to {shot.mold}"
        return f"inferred: no shot for more than {self.new_after_stop / timedelta(hours=1):g} h"

    def go_on(self, state: PressState) -> None:
        """Shots came, after all, of a run that nobody named and that had ended for want of them."""
        run = self.current(state)
        if run is not None and run.opened_by == INFERRED and run.closed_at is not None:
            runs.reopen(self.conn, run.id)
            self._run = replace(run, closed_at=None)

    def message(self, state: PressState, message: RunMessage) -> PressState:
        """Open, describe or close a run."""
        if message.action == "close":
            return self._close(state, message)
        known = runs.by_name(self.conn, self.press_id, message.run)
        current = self.current(state)
        if known is not None and current is not None and self._is_told_again(state, current, known, message):
            self._describe(known, message)
            state = state if known.id != current.id else told(state, known.name, message.source)
            return self._redescribed(state, at=message.at)
        if known is not None and known.closed_at is not None and message.at <= known.closed_at:
            return state  # it ended since: the message, or the file, came again
        if known is not None and self._goes_on(state, known, message):
            return self._resumed(state, known, message)
        if current is not None and message.at < current.opened_at:
            return self._of_before(state, message, known, current)
        run = known or runs.open_run(
            self.conn, self.press_id, message.run, at=message.at, opened_by=door(message.source),
            **runs.described(message),
        )
        return self._begin(state, run, at=message.at, source=message.source)

    def _is_told_again(self, state: PressState, current: RunRow, run: RunRow, message: RunMessage) -> bool:
        """Whether a message tells more of the open run, or of the one whose shots that has taken over."""
        return run.id == current.id or (message.source != FORM and takes_over(state, current, run.name))

    def _goes_on(self, state: PressState, run: RunRow, message: RunMessage) -> bool:
        """Whether the file before this one ended in its run, as where a press writes one each hour."""
        if state.run_id is not None or not is_file(message.source):
            return False
        newest = sa.select(shots.c.run_id).where(shots.c.id == places.newest(self.conn, self.press_id))
        return self.conn.execute(newest).scalar() == run.id

    def _resumed(self, state: PressState, run: RunRow, message: RunMessage) -> PressState:
        """The run with the charts it had; whether the press stood between two files its times say."""
        self._run = run
        self.rows.event("run", at=message.at, source=message.source, new=run.name, note="goes on")
        self._describe(run, message)
        state = told(replace(state, run_id=run.id), run.name, message.source)
        return self._redescribed(state, at=message.at)

    def _of_before(
        self, state: PressState, message: RunMessage, known: RunRow | None, current: RunRow
    ) -> PressState:
        """A message that comes after its run has been followed by another leaves that one open."""
        if known is None:
            runs.open_run(
                self.conn, self.press_id, message.run, at=message.at, closed_at=current.opened_at,
                opened_by=door(message.source), **runs.described(message),
            )
        return state

    def name(self, state: PressState, message: RunMessage) -> PressState | None:
        """Give the run that was inferred for the shots of a file the name that the file now has.

        Returns
        -------
        PressState or None
            None when there is no such run.
        """
        if message.action != "open" or runs.by_name(self.conn, self.press_id, message.run) is not None:
            return None
        run = self._inferred_of(message)
        if run is None:
            return None
        runs.rename(self.conn, run.id, message.run, opened_by=door(message.source))
        runs.fill_in(self.conn, run, message)
        self.rows.event(
            "run", at=message.at, source=message.source, old=run.name, new=message.run, note="named"
        )
        self._run = None
        return self._redescribed(state, at=message.at) if run.id == state.run_id else state

    def _inferred_of(self, message: RunMessage) -> RunRow | None:
        """The inferred run that has this file's first shot, and no shot of another source."""
        c = shots.c
        first = sa.select(c.run_id).where(
            c.press_id == self.press_id, c.ended_at == message.at, c.source == message.source,
            c.run_id.is_not(None),
        )
        run_id = self.conn.execute(first.limit(1)).scalar()
        run = None if run_id is None else runs.by_id(self.conn, run_id)
        if run is None or run.opened_by != INFERRED:
            return None
        foreign = sa.select(c.id).where(c.run_id == run_id, c.source != message.source).limit(1)
        return None if self.conn.execute(foreign).first() else run

    def adopt_approved(self, state: PressState, *, at: datetime) -> PressState:
        """Put limits that a person approved since in the place of older or provisional ones."""
        for key, each in limits.approved(self.conn, self.press_id, state.context).items():
            held = state.keys.get(key)
            if held is None or held.limits is None or held.limits.id != each.id:
                state = replace(state, keys={**state.keys, key: under(each)})
                self.rows.event("limits", at=at, key=key, new=each.id, note=each.standing)
        return state

    def _begin(
        self, state: PressState, run: RunRow, *, at: datetime, source: str, note: str | None = None
    ) -> PressState:
        before = self.current(state)
        if before is not None and before.closed_at is None:
            runs.close_run(self.conn, before.id, at=at)
        if run.closed_at is not None and not is_file(source):
            runs.reopen(self.conn, run.id)
            run = replace(run, closed_at=None)
        self._run = run
        old = None if before is None else before.name
        state, taken = over(state, before, run, source)
        note = note if taken is None else events.taken_over(taken)
        self.rows.event("run", at=at, source=source, old=old, new=run.name, note=note)
        if run.opened_by != INFERRED:
            state = told(state, run.name, source)
        fresh = replace(
            state.starting(), run_id=run.id, context=run.context(), recipe=run.setpoints, keys={},
            fresh=True, sense=NOTHING, trial=run.trial,
        )
        return self.adopt_approved(fresh, at=at)

    def _close(self, state: PressState, message: RunMessage) -> PressState:
        named = runs.by_name(self.conn, self.press_id, message.run)
        if named is None or (is_file(message.source) and named.opened_by != FILE and named.closed_at is None):
            return state  # a file ends where it ends; a run that the floor opened goes on
        runs.fill_in(self.conn, named, message)
        runs.close_run(self.conn, named.id, at=message.at)
        if is_file(message.source):
            runs.extend(self.conn, named.id, to=message.at)  # it ended with the file before this one
        if named.id != state.run_id:
            return state
        self._run = None
        self.rows.event("run", at=message.at, source=message.source, old=named.name, note="closed")
        ended = message.source != FORM and message.run == state.told_run
        return replace(state, run_id=None, told_run=None if ended else state.told_run)

    def _describe(self, run: RunRow, message: RunMessage) -> None:
        """The same run again: a new lot or color is an event, what was not known is filled in."""
        lot, before = message.lot, self._lot_in_force(run)
        if lot is not None and before is not None and lot != before:
            self.rows.event("lot", at=message.at, source=message.source, old=before, new=lot)
        color, before = message.color, self._color_in_force(run)
        if color is not None and before is not None and color != before:
            self.rows.event("color", at=message.at, source=message.source, old=before, new=color)
        if runs.fill_in(self.conn, run, message):
            self._run = runs.by_id(self.conn, run.id)

    def _redescribed(self, state: PressState, *, at: datetime) -> PressState:
        """The state once more is known of its run: limits approved for that, and the recipe to check."""
        run = self.current(state)
        if run is None:
            return state
        if run.trial and not state.trial:
            state = replace(state.starting(), trial=True)
        if run.context() == state.context:
            return state
        return self.adopt_approved(replace(state, context=run.context(), recipe=run.setpoints), at=at)

    def _lot_in_force(self, run: RunRow) -> str | None:
        unstored = self.rows.unstored("lot")
        return unstored[-1] if unstored else events.last_lot(self.conn, self.press_id, run.id) or run.lot

    def _color_in_force(self, run: RunRow) -> str | None:
        unstored = self.rows.unstored("color")
        last = unstored[-1:] or [events.last_lot(self.conn, self.press_id, run.id, kind="color")]
        return last[0] or run.color
