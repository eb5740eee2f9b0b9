"""Runs that are older than what a press last told: files of the past, imported while the press runs on.

Such a run is charted by itself and in its own order: it has a state and epochs of its own, takes nothing over
from the press and leaves nothing to it. Limits that were approved since are not laid on it. Its signals are
stored; they open no alarm, because nobody can act on them at the press any more. What the store knows
already, or what fills a gap of the press's counter, is not of the past run but of the run it was made in.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import sqlalchemy as sa

from collector import identity
from collector.contract.messages import RunMessage
from collector.contract.shot import Shot
from collector.identity import Identity, Kind, Last, Stored
from collector.press_late import LateShots
from collector.press_rows import PressRows
from collector.press_state import PressState, dump, load
from collector.press_waiting import WaitingShots
from collector.store import identities, limits, past_runs, runs
from collector.store.presses import PressRow
from collector.store.runs import RunRow
from collector.verdict import Policy


@dataclass(slots=True)
class PastRun:
    """One run of the past in a transaction."""

    source: str
    run: RunRow
    state: PressState
    rows: PressRows
    late: LateShots
    waiting: WaitingShots

    def last(self) -> Last | None:
        """Identity of its newest shot, judged or not."""
        return self.waiting.last(self.state)


class PastRuns:
    """The runs of the past that the messages of one press bring in one transaction."""

    def __init__(self, conn: sa.Connection, press: PressRow, policy: Policy, *, now: datetime) -> None:
        self._conn = conn
        self._now = now
        self._press = press
        self._policy = policy
        self._open: dict[str, PastRun | None] = {}
        self._announced: dict[str, RunMessage] = {}  # by source; a run is made for its first shot

    def announce(self, message: RunMessage) -> None:
        """Remember what a file says of its run."""
        self._announced[message.source] = message

    def of(self, source: str) -> PastRun | None:
        """The run of the past that a file is in."""
        if source not in self._open:
            stored = past_runs.load(self._conn, self._press.id, source)
            self._open[source] = None if stored is None else self._resumed(source, *stored)
        return self._open[source]

    def begin(self, shot: Shot) -> PastRun:
        """Open the run of a shot: the one it names, or one of its own."""
        self._leave(shot.source)
        name = shot.run or f"{self._press.name}-{shot.ended_at:%Y%m%d-%H%M%S}"
        told = self._announced.get(shot.source)
        words = runs.described(told) if told is not None and told.run == name else {}
        run = runs.open_run(
            self._conn, self._press.id, name, at=shot.ended_at, closed_at=shot.ended_at,
            opened_by=runs.FILE if shot.run else runs.INFERRED, **words,
        )
        state = PressState(run_id=run.id, context=run.context(), recipe=run.setpoints, fresh=True)
        past = self._past(shot.source, run, state)
        past.rows.event("run", at=shot.ended_at, source=shot.source, new=run.name, note="of the past")
        self._open[shot.source] = past
        return past

    def take(self, past: PastRun, shot: Shot, like: list[Stored], poll: timedelta) -> Identity:
        """Take a shot that is not known; it is judged with those after it."""
        verdict = self._identify(past, shot, like, poll)
        if verdict.kind is Kind.LATE:
            self._insert_late(past, shot, verdict)
        else:
            past.waiting.add(shot, verdict)
        return verdict

    def close(self, message: RunMessage) -> bool:
        """The file has ended; False when it is in no run of the past of this name."""
        past = self.of(message.source)
        if past is None or past.run.name != message.run:
            return False
        runs.fill_in(self._conn, past.run, message)
        self._leave(message.source)
        return True

    def store(self, past: PastRun) -> None:
        """Judge and store what waits."""
        past.state = past.waiting.judge(past.state, past.rows)
        past.rows.store(past.state.context)
        past.state, _ = past.late.replay(past.state, past.rows.begun())
        if past.state.last is not None:
            runs.extend(self._conn, past.run.id, to=past.state.last.ended_at)

    def finish(self) -> None:
        """Store what waits, and the states that the next transaction goes on from."""
        for source, past in self._open.items():
            if past is not None:
                self.store(past)
                past_runs.save(self._conn, self._press.id, source, past.run.id, dump(past.state))

    def _leave(self, source: str) -> None:
        past = self.of(source)
        if past is not None:
            self.store(past)
            past_runs.forget(self._conn, self._press.id, source)
            self._open[source] = None

    def _identify(self, past: PastRun, shot: Shot, like: list[Stored], poll: timedelta) -> Identity:
        last = past.last()
        if last is None:
            first = min(identities.epochs(self._conn, self._press.id), default=0)
            return Identity(Kind.NEW, epoch=(first // identities.PAST_EPOCHS - 1) * identities.PAST_EPOCHS)
        own = {each.epoch for each in like if identities.same_stretch(each.epoch, last.epoch)}
        taken = own if shot.counter is not None else ()
        return identity.identify(shot.counter, shot.ended_at, last=last, stored=None, poll=poll, taken=taken)

    def _insert_late(self, past: PastRun, shot: Shot, verdict: Identity) -> None:
        """A row of the file that is out of order: stored, and the run judged again."""
        self.store(past)
        past.late.insert(shot, verdict, now=self._now, run_id=past.run.id)
        past.late.note(past.run.id, f"shot {shot.counter} came out of order in {shot.source}")

    def _resumed(self, source: str, run_id: int, stored: Mapping[str, Any]) -> PastRun:
        state = load(stored, lambda each: limits.by_id(self._conn, each))
        return self._past(source, runs.by_id(self._conn, run_id), state)

    def _past(self, source: str, run: RunRow, state: PressState) -> PastRun:
        rows = PressRows(self._conn, self._press, orphans=False)
        late = LateShots(self._conn, self._press.id)
        return PastRun(source, run, state, rows, late, WaitingShots(self._policy))
