"""One press's share of a transaction: its messages in order, then rows in bulk.

New shots wait to be judged together (`collector.engine`) until a message needs the state after them, and
are stored together at the end, or as soon as a message needs to see what is stored. When the transaction
rolls back, the pipeline drops this object and its state, so nothing is half done.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from datetime import datetime, timedelta

import sqlalchemy as sa

from collector import amend, engine, identity, press_clock, replay, setpoints
from collector.alarms import apply as alarms
from collector.alarms.model import PressRef, ShotVerdict
from collector.contract.bodies import Message
from collector.contract.messages import RunMessage, SetpointsMessage, StateMessage, TrayMessage
from collector.contract.shot import Shot
from collector.identity import DEFAULT_POLL, POLL_CYCLES, Identity, Kind, Last, Stored
from collector.press_late import LateShots
from collector.press_past import PastRuns
from collector.press_rows import PressRows, judged_as, new_shot
from collector.press_runs import PressRuns, is_file
from collector.press_state import PressState
from collector.store import archives, events, gaps, identities, presses, restarts, runs, shots, signals
from collector.store.presses import PressRow
from collector.verdict import Policy

SAME_TIME = timedelta(seconds=0.5)


@dataclass(slots=True)
class Counts:
    """What became of the messages of a batch."""

    stored: int = 0
    late: int = 0
    past: int = 0  # shots of a run older than the newest shot of their press
    duplicates: int = 0
    amended: int = 0
    refused: int = 0
    gaugings: int = 0
    waiting: int = 0  # gaugings whose disc is not found yet; they are among `gaugings`
    other: int = 0

    def add(self, more: Counts) -> None:
        """Add another batch's counts to these."""
        for each in fields(self):
            setattr(self, each.name, getattr(self, each.name) + getattr(more, each.name))


@dataclass(frozen=True, slots=True)
class Moment:
    """Service and wall time of a transaction, and how fast the service's runs."""

    now: datetime
    wall: datetime
    speed: float = 1.0


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
        self.past = PastRuns(conn, press, policy)
        self.late = LateShots(conn, press.id)
        self._waiting: list[tuple[Shot, Identity]] = []  # new shots of the open run, not judged yet
        self._heard: datetime | None = None  # end of the newest shot that the press itself told
        self._carry_out_restarts()

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
                self._tray(message)
            case SetpointsMessage():
                self._setpoints(message)
            case StateMessage():
                self._state_message(message)
            case _:
                raise TypeError(f"{type(message).__name__} is not a press's own message")

    def finish(self) -> None:
        """Store what waits; `state` is then what the next transaction goes on from."""
        self._flush()
        self.past.finish()
        self.state, added = self.late.replay(self.state, self.rows.begun())
        if added:
            self._alarm(signals.verdicts(self.conn, added))
        self._hear()
        self.rows.finish()
        self.state = replace(self.state, events_waiting=self.rows.orphans)

    def _shot(self, shot: Shot) -> None:
        if is_file(shot.source) and self._is_past(shot):
            return
        verdict = self._identify(shot)
        if verdict.kind is Kind.KNOWN:
            self._known(shot, verdict)
        elif verdict.kind is Kind.LATE:
            self._late(shot, verdict)
        else:
            self._new(shot, verdict)

    def _new(self, shot: Shot, verdict: Identity) -> None:
        if not self.runs.fits(self.state, shot, self._last()):
            self._flush()
            self.state = self.runs.enter(self.state, shot)
        self._waiting.append((shot, verdict))
        self.counts.stored += 1
        if not is_file(shot.source):
            self._heard = shot.ended_at

    def _is_past(self, shot: Shot) -> bool:
        """Take a shot of a file if it is of a run that the press had before; False if it is not."""
        last = self._last()
        if last is None or shot.ended_at > last.ended_at:
            return False
        past = self.past.of(shot.source)
        if past is not None and not _is_newest(shot, past.last()):
            self.past.store(past)
        poll, apart = self._poll()
        like = self._alike(shot, apart)
        near = identities.nearest(like, shot.ended_at)
        if near is not None and abs(near.ended_at - shot.ended_at) <= poll:
            return False  # known: the usual way compares its values
        if self._fills_gap(shot):
            return True
        if past is None or shot.run not in (None, past.run.name):
            if self._was_running(shot):
                return False  # a late shot of that run
            past = self.past.begin(shot)
        self.past.take(past, shot, like, poll)
        self.counts.past += 1
        return True

    def _was_running(self, shot: Shot) -> bool:
        """Whether the run of a shot is stored: the one it names, or one that was on at its time."""
        if shot.run is not None:
            return runs.by_name(self.conn, self.press.id, shot.run) is not None
        return runs.covering(self.conn, self.press.id, shot.ended_at)

    def _fills_gap(self, shot: Shot) -> bool:
        if shot.counter is None:
            return False
        epoch = gaps.epoch_of(self.conn, self.press.id, shot.counter, shot.ended_at)
        if epoch is None:
            return False
        self._late(shot, Identity(Kind.LATE, epoch=epoch))
        return True

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
        presses.note_heard(self.conn, self.press.id, at=self.moment.now, behind_s=clock.behind_s)

    def _judge(self) -> None:
        """Judge the shots that wait; only then is `state` that after the newest shot."""
        if not self._waiting:
            return
        waiting, verdicts = zip(*self._waiting, strict=True)
        self._waiting.clear()
        self.state, judged = engine.run(self.state, waiting, verdicts, self.policy)
        for shot, verdict, found in zip(waiting, verdicts, judged, strict=True):
            row = new_shot(self.press.id, self.state.run_id, shot, verdict, **judged_as(found))
            self.rows.add(row, found)

    def _identify(self, shot: Shot) -> Identity:
        """What a shot is; only one that is not plainly the next needs the state, or a look into the store."""
        last = self._last()
        if _is_newest(shot, last):
            return identity.identify(shot.counter, shot.ended_at, last=last, stored=None, poll=DEFAULT_POLL)
        self._judge()
        return self._compare(shot)

    def _last(self) -> Last | None:
        """Identity of the newest shot, judged or not."""
        if not self._waiting:
            return self.state.last
        shot, verdict = self._waiting[-1]
        return Last(verdict.epoch, shot.counter, shot.ended_at)

    def _compare(self, shot: Shot) -> Identity:
        """Identify a shot that may be stored already, or stored under the same name."""
        poll, apart = self._poll()
        alike = [] if _is_clearly_later(shot, self.state.last, apart) else self._alike(shot, apart)
        nearest = identities.nearest(alike, shot.ended_at)
        taken = {each.epoch for each in alike if shot.counter is not None}
        return identity.identify(
            shot.counter, shot.ended_at, last=self.state.last, stored=nearest, poll=poll, taken=taken
        )

    def _poll(self) -> tuple[timedelta, timedelta]:
        """By how much two reports of a cycle may differ, and two shots without a counter at least do."""
        usual = self.state.usual_cycle_s()
        if usual is None:
            return DEFAULT_POLL, SAME_TIME  # before the cycle is known, two shots must not be taken for one
        poll = timedelta(seconds=POLL_CYCLES * usual)
        return poll, poll / 2

    def _alike(self, shot: Shot, apart: timedelta) -> list[Stored]:
        """The stored shots of this counter, one an epoch; without a counter, of this time."""
        self._flush()
        return identities.alike(
            self.conn, self.press.id, shot, among=identities.epochs(self.conn, self.press.id), apart=apart
        )

    def _known(self, shot: Shot, verdict: Identity) -> None:
        assert verdict.shot_id is not None
        shot_id = self._same(shot, verdict.shot_id)
        if shot_id is None:
            at = identities.free_time(self.conn, self.press.id, shot.ended_at)
            self._late(shot._replace(ended_at=at), Identity(Kind.LATE, epoch=verdict.epoch))
        elif archives.is_moved(self.conn, shot_id):
            self._archived(shot)
        elif amend.amend(self.conn, shot_id, shot, at=self.moment.now):
            self.counts.amended += 1
            why = f"shot {shot.counter} was corrected by {shot.source}"
            self.late.note(shots.run_of(self.conn, shot_id), why)
        else:
            self.counts.duplicates += 1

    def _same(self, shot: Shot, shot_id: int) -> int | None:
        """Which stored shot this is; None for one without a counter that only has the time of another."""
        if shot.counter is not None or not amend.is_another(self.conn, shot_id, shot):
            return shot_id
        alike = self._alike(shot, self._poll()[1])
        ids = (each.shot_id for each in alike if not amend.is_another(self.conn, each.shot_id, shot))
        return next(ids, None)

    def _archived(self, shot: Shot) -> None:
        """What came again cannot be held against values that are in a file; it is kept beside them."""
        self.counts.duplicates += 1
        note = "came again after its values were archived; restore the run and send it anew if they differ"
        self.rows.event(
            "late", at=shot.ended_at, source=shot.source, new=dict(shot.values),
            note=f"shot {shot.counter} {note}",
        )

    def _late(self, shot: Shot, verdict: Identity) -> None:
        """Store a straggler where it belongs and judge again from there."""
        self._flush()
        place = replay.place_of(self.conn, self.press.id, verdict.epoch, shot)
        row = new_shot(
            self.press.id, place.run_id, shot, verdict, phase=place.phase, tray=shot.tray,
            tray_position=shot.tray_position,
        )
        shots.insert(self.conn, [row])
        if shot.counter is not None:
            gaps.arrived(self.conn, self.press.id, verdict.epoch, shot.counter, at=self.moment.now)
        self.counts.late += 1
        self.late.note(place.run_id, f"shot {shot.counter} arrived late from {shot.source}")

    def _flush(self) -> None:
        self._judge()
        verdicts = self.rows.store(self.state.context)
        if not verdicts:
            return
        last = self.state.last
        assert last is not None
        presses.note_shot(
            self.conn, self.press.id, ended_at=last.ended_at, usual_cycle_s=self.state.usual_cycle_s()
        )
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

    def _tray(self, message: TrayMessage) -> None:
        # A message that the broker hands over again must not count the places of its tray anew.
        if events.is_known(self.conn, self.press.id, "tray", at=message.at, new=message.tray):
            return
        self.state = replace(self.state, tray=message.tray, tray_next=message.position or 1)
        self.rows.event("tray", at=message.at, source=message.source, new=message.tray)

    def _setpoints(self, message: SetpointsMessage) -> None:
        told = setpoints.news(self.state, message.setpoints, at=message.at)
        self.state, changed = setpoints.compare_setpoints(self.state, told, self.policy, at=message.at)
        for each in changed:
            self.rows.event(
                "setpoint", at=message.at, source=message.source, key=each.key, old=each.old, new=each.new
            )
        if changed and self.state.charting:
            self.state = self.state.restarted()
            self.rows.event("chart_restart", at=message.at, note="setpoint changed")

    def _state_message(self, message: StateMessage) -> None:
        changed, before = presses.note_state(self.conn, self.press.id, message)
        if changed:
            self.rows.event(
                "state", at=message.at, source=message.source, old=before, new=message.state,
                note=message.reason,
            )

    def _carry_out_restarts(self) -> None:
        """Charts that a person asked to start anew, with limits approved since."""
        asked = restarts.take(self.conn, self.press.id, at=self.moment.now)
        if not asked:
            return
        self.state = self.runs.adopt_approved(self.state, at=self.moment.now)
        for each in asked:
            self.state = self.state.restarted(each.key)
            self.rows.event(
                "chart_restart", at=self.moment.now, source=each.who, key=each.key, note=each.why
            )


def _is_newest(shot: Shot, last: Last | None) -> bool:
    """Whether a shot is plainly the next one, so that nothing stored needs to be looked up."""
    if last is None:
        return True
    if shot.ended_at <= last.ended_at:
        return False
    return shot.counter is not None and last.counter is not None and shot.counter > last.counter


def _is_clearly_later(shot: Shot, last: Last | None, apart: timedelta) -> bool:
    """Whether a shot without a counter is too late to be any that is stored; none is newer than the last."""
    return shot.counter is None and last is not None and shot.ended_at - apart >= last.ended_at
