"""One press's share of a transaction: its messages in order, then rows in bulk.

New shots wait to be judged together (`collector.engine`) until a message needs the state after them, and
are stored together at the end, or as soon as a message needs to see what is stored. When the transaction
rolls back, the pipeline drops this object and its state, so nothing is half done.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from datetime import datetime, timedelta
from typing import Any

import sqlalchemy as sa

from collector import amend, engine, identity, replay, setpoints
from collector.alarms import apply as alarms
from collector.alarms.model import PressRef, ShotVerdict
from collector.contract.bodies import Message
from collector.contract.messages import RunMessage, SetpointsMessage, StateMessage, TrayMessage
from collector.contract.shot import Shot
from collector.identity import Identity, Kind, Last
from collector.press_rows import PressRows
from collector.press_runs import PressRuns
from collector.press_state import PressState
from collector.store import events, presses, restarts, shots, signals
from collector.store.presses import PressRow
from collector.store.shots import NewShot
from collector.store.tables import shots as shots_table
from collector.verdict import Policy

# Two reports of one cycle lie closer than two cycles do.
POLL_CYCLES = 0.9
DEFAULT_POLL = timedelta(seconds=30)
SAME_TIME = timedelta(seconds=0.5)


@dataclass(slots=True)
class Counts:
    """What became of the messages of a batch."""

    stored: int = 0
    late: int = 0
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
    """Service and wall time of a transaction."""

    now: datetime
    wall: datetime


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
        self.runs = PressRuns(conn, press.id, press.name, self.rows)
        self._waiting: list[tuple[Shot, Identity]] = []  # new shots of the open run, not judged yet
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
                self._flush()  # what waits belongs to the run before
                self.state = self.runs.message(self.state, message)
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
        self.rows.finish()
        self.state = replace(self.state, events_waiting=self.rows.orphans)

    def _shot(self, shot: Shot) -> None:
        verdict = self._identify(shot)
        if verdict.kind is Kind.KNOWN:
            self._known(shot, verdict)
        elif verdict.kind is Kind.LATE:
            self._late(shot, verdict)
        else:
            self._new(shot, verdict)

    def _new(self, shot: Shot, verdict: Identity) -> None:
        if not self.runs.fits(self.state, shot):
            self._flush()
            self.state = self.runs.enter(self.state, shot)
        self._waiting.append((shot, verdict))
        self.counts.stored += 1

    def _judge(self) -> None:
        """Judge the shots that wait; only then is `state` that after the newest shot."""
        if not self._waiting:
            return
        waiting, verdicts = zip(*self._waiting, strict=True)
        self._waiting.clear()
        self.state, judged = engine.run(self.state, waiting, verdicts, self.policy)
        for shot, verdict, found in zip(waiting, verdicts, judged, strict=True):
            row = self._row(
                shot, verdict, phase=found.phase, tray=found.tray, tray_position=found.tray_position,
                share=found.share, share_key=found.share_key, signaled=bool(found.signals),
            )
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
        usual = self.state.usual_cycle_s()
        poll = DEFAULT_POLL if usual is None else timedelta(seconds=POLL_CYCLES * usual)
        # Before the cycle is known, two shots must not be taken for one.
        apart = SAME_TIME if usual is None else poll / 2
        alike = [] if _is_clearly_later(shot, self.state.last, apart) else self._alike(shot, apart)
        nearest = min(alike, key=lambda each: abs(each.ended_at - shot.ended_at), default=None)
        taken = {each.epoch for each in alike if shot.counter is not None}
        return identity.identify(
            shot.counter, shot.ended_at, last=self.state.last, stored=nearest, poll=poll, taken=taken
        )

    def _alike(self, shot: Shot, apart: timedelta) -> list[identity.Stored]:
        """The stored shots of this counter, one an epoch; without a counter, of this time."""
        self._flush()
        c = shots_table.c
        same: tuple[sa.ColumnElement[bool], ...] = (c.counter == shot.counter,)
        if shot.counter is None:
            same = (c.ended_at > shot.ended_at - apart, c.ended_at < shot.ended_at + apart)
        query = sa.select(c.id, c.epoch, c.ended_at).where(c.press_id == self.press.id, *same)
        return [identity.Stored(row.id, row.epoch, row.ended_at) for row in self.conn.execute(query)]

    def _known(self, shot: Shot, verdict: Identity) -> None:
        assert verdict.shot_id is not None
        if amend.amend(self.conn, verdict.shot_id, shot, at=self.moment.now):
            self.counts.amended += 1
            self._replay(verdict.shot_id, f"shot {shot.counter} was corrected by {shot.source}")
        else:
            self.counts.duplicates += 1

    def _late(self, shot: Shot, verdict: Identity) -> None:
        """Store a straggler where it belongs and judge again from there."""
        self._flush()
        place = replay.place_of(self.conn, self.press.id, verdict.epoch, shot)
        row = self._row(shot, verdict, phase=place.phase, tray=shot.tray, tray_position=shot.tray_position)
        shot_id = shots.insert(self.conn, [row._replace(run_id=place.run_id)])[0]
        self.counts.late += 1
        self._replay(shot_id, f"shot {shot.counter} arrived late from {shot.source}")

    def _replay(self, shot_id: int, why: str) -> None:
        self._flush()
        self.state, added = replay.replay(
            self.conn, self.press.id, self.state, from_shot_id=shot_id, why=why, begun=self.rows.begun()
        )
        if added:
            self._alarm(signals.verdicts(self.conn, added))

    def _row(self, shot: Shot, verdict: Identity, **judged: Any) -> NewShot:
        originals = shot.originals
        if shot.units:
            own = {key: (shot.values[key], unit) for key, unit in shot.units.items() if key in shot.values}
            originals = {**own, **originals}
        return NewShot(
            press_id=self.press.id, epoch=verdict.epoch, counter=shot.counter, ended_at=shot.ended_at,
            received_at=shot.received_at, run_id=self.state.run_id, source=shot.source,
            time_reconstructed=shot.time_reconstructed, values=shot.values, setpoints=shot.setpoints,
            originals=originals, setpoint_originals=shot.setpoint_originals,
            not_written=shot.not_written, **judged,
        )

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
