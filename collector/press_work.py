"""One press's share of a transaction: its messages in order, then rows in bulk.

New shots wait to be judged together (`collector.engine`) until a message needs the state after them, and
are stored together at the end, or as soon as a message needs to see what is stored. When the transaction
rolls back, the pipeline drops this object and its state, so nothing is half done.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from collector import press_clock, press_identity, press_told
from collector.alarms import apply as alarms
from collector.alarms.model import PressRef, ShotVerdict
from collector.clock import Moment
from collector.contract.bodies import Message
from collector.contract.messages import RunMessage, SetpointsMessage, StateMessage, TrayMessage
from collector.contract.shot import Shot
from collector.counts import Counts
from collector.identity import Identity, Kind, Last
from collector.press_behind import ShotsBehind
from collector.press_identity import is_newest
from collector.press_past import PastRuns
from collector.press_rows import PressRows
from collector.press_runs import PressRuns
from collector.press_state import PressState
from collector.press_waiting import WaitingShots
from collector.run_names import is_file
from collector.store import identities, presses, runs, signals
from collector.store.presses import PressRow
from collector.verdict import Policy


class PressWork:
    """The messages of one press in one transaction."""

    def __init__(
        self, conn: sa.Connection, press: PressRow, state: PressState, policy: Policy, moment: Moment
    ) -> None:
        self.conn = conn
        self.press = press
        self.state = state
        self.policy = policy
        self.moment = moment
        self.counts = Counts()
        self.rows = PressRows(conn, press, orphans=state.events_waiting)
        self.runs = PressRuns(
            conn, press.id, press.name, self.rows, new_after_stop_h=policy.new_run_after_stop_h
        )
        self.past = PastRuns(conn, press, policy, now=moment.now)
        self.behind = ShotsBehind(self.rows, self.counts, now=moment.now)
        self._waiting = WaitingShots(policy)  # of the open run
        self._heard: datetime | None = None  # end of the newest shot that the press itself told
        self._newest: dict[str, Any] = {}  # what the row of the press is to say, written once
        self.state = press_told.carry_out_restarts(
            conn, self.rows, self.runs, self.state, now=moment.now
        )

    def look_ahead(self, messages: Sequence[Message]) -> None:
        """Look up at once what can be, for all messages to come; what follows is the same without."""
        shots = [each for each in messages if isinstance(each, Shot)]
        self.behind.look_ahead(shots, self.state.last)

    def take(self, message: Message) -> None:
        """Take one message of this press."""
        if isinstance(message, Shot):
            self._shot(message)
            return
        self._judge()
        self.counts.other += 1
        match message:
            case RunMessage():
                self._run_message(message)
            case TrayMessage():
                self.state = press_told.tray(self.conn, self.rows, self.state, message)
            case SetpointsMessage():
                self.state = press_told.new_setpoints(self.rows, self.state, message, self.policy)
            case StateMessage():
                press_told.new_state(self.conn, self.rows, message)
            case _:
                raise TypeError(f"{type(message).__name__} is not a press's own message")

    def finish(self) -> None:
        """Store what waits; `state` is then what the next transaction goes on from."""
        self._flush()
        self.past.finish()
        self.state, added = self.behind.late.replay(self.state, self.rows.begun())
        if added:
            self._alarm(signals.verdicts(self.conn, added))
        self._hear()
        if self._newest:
            presses.note(self.conn, self.press.id, self._newest)
        self.rows.finish()
        self.state = replace(self.state, events_waiting=self.rows.orphans)

    def _shot(self, shot: Shot) -> None:
        if self.behind.take_again(shot):
            return
        if is_file(shot.source) and self._is_past(shot):
            return
        verdict = self._identify(shot)
        if verdict.kind in (Kind.KNOWN, Kind.LATE):
            self._flush()
            self.behind.take(shot, verdict, self.state)
        else:
            self._new(shot, verdict)

    def _new(self, shot: Shot, verdict: Identity) -> None:
        if not self.runs.fits(self.state, shot, self._last()):
            self._flush()
            self.state = self.runs.enter(self.state, shot)
        if shot.run not in (None, self.state.told_run):
            self.state = replace(self.state, told_run=shot.run)
        self._waiting.add(shot, verdict)
        self.counts.stored += 1
        if not is_file(shot.source):
            self._heard = shot.ended_at

    def _is_past(self, shot: Shot) -> bool:
        """Take a shot of a file that is known, or of a run of the past; False if it is neither."""
        last = self._last()
        if last is None or shot.ended_at > last.ended_at:
            return False
        past = self.past.of(shot.source)
        if past is not None and not is_newest(shot, past.last()):
            self.past.store(past)
            self.behind.forget()
        self._flush()
        verdict, like = self.behind.identify(shot, self.state)
        if verdict.kind is Kind.KNOWN:
            self.behind.take(shot, verdict, self.state)
            return True
        if self.behind.fills_gap(shot, self.state):
            return True
        if past is None or shot.run not in (None, past.run.name):
            if self._was_running(shot):  # a late shot of that run
                return self.behind.joins_past(shot, like, self.state)
            past = self.past.begin(shot)
        self.past.take(past, shot, like, press_identity.polls(self.state)[0])
        self.counts.past += 1
        return True

    def _was_running(self, shot: Shot) -> bool:
        """Whether the run of a shot is stored: the one it names, or one that was on at its time."""
        if shot.run is not None:
            return runs.by_name(self.conn, self.press.id, shot.run) is not None
        if runs.covering(self.conn, self.press.id, shot.ended_at):
            return True
        following = identities.following(self.conn, self.press.id, shot.ended_at)
        return press_identity.leads_up(shot, following, self.state, self.policy)

    def _run_message(self, message: RunMessage) -> None:
        self._flush()  # what waits belongs to the run before
        if is_file(message.source):
            named = self.runs.name(self.state, message)
            if named is not None:
                self.state = named
                return
            if self.past.close(message) if message.action == "close" else self._is_of_past(message):
                return
        self.state = self.runs.message(self.state, message)

    def _is_of_past(self, message: RunMessage) -> bool:
        """Whether a file's run begins before the newest shot of the press; then it takes nothing over."""
        last = self.state.last
        if last is None or message.at > last.ended_at:
            return False
        if runs.by_name(self.conn, self.press.id, message.run) is not None:
            return self.past.of(message.source) is not None
        self.past.announce(message)
        return True

    def _hear(self) -> None:
        """Take the lag of the newest live shot, once a transaction."""
        if self._heard is None:
            return
        lag_s = (self.moment.now - self._heard).total_seconds() / self.moment.speed
        clock, sentence = press_clock.hear(self.state.clock, lag_s)
        self.state = replace(self.state, clock=clock)
        if sentence is not None:
            self.rows.event("clock", at=self._heard, note=sentence)
        self._newest |= {"heard_at": self.moment.now, "clock_behind_s": clock.behind_s}

    def _judge(self) -> None:
        """Judge the shots that wait; only then is `state` that after the newest shot."""
        self.state = self._waiting.judge(self.state, self.rows)

    def _identify(self, shot: Shot) -> Identity:
        """What a shot is; only one that is not plainly the next needs the state, or a look into the store."""
        last = self._last()
        if is_newest(shot, last):
            return press_identity.next_one(shot, last)
        self._judge()
        if press_identity.is_clearly_later(shot, self.state):
            return press_identity.compared(shot, [], self.state)
        self._flush()
        return self.behind.identify(shot, self.state)[0]

    def _last(self) -> Last | None:
        """Identity of the newest shot, judged or not."""
        return self._waiting.last(self.state)

    def _flush(self) -> None:
        self._judge()
        verdicts = self.rows.store(self.state.context)
        if not verdicts:
            return
        self.behind.forget()
        self.runs.go_on(self.state)
        last = self.state.last
        assert last is not None
        self._newest |= {"last_shot_at": last.ended_at, "usual_cycle_s": self.state.usual_cycle_s()}
        begun: list[ShotVerdict] = []
        for verdict in verdicts:
            if verdict.shot_id in self.rows.restarts:
                self._alarm(begun)
                begun = []
                self.state = replace(self.state, charts_since_shot_id=verdict.shot_id)
            begun.append(verdict)
        self._alarm(begun)

    def _alarm(self, verdicts: Sequence[ShotVerdict]) -> None:
        """Tell the alarms of shots between two restarts of the charts; no change is dated across one."""
        if not verdicts:
            return
        alarms.process(
            self.conn, PressRef(id=self.press.id, site=self.press.site, name=self.press.name), verdicts,
            now=self.moment.now, wall=self.moment.wall, charts_since_shot_id=self.state.charts_since_shot_id,
        )
