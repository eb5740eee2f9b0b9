"""Taking an import back: its shots leave the charts and the audit, and are kept.

They move to a press of their own, on a site that no message can name, and everything that hangs on them
moves or lets go: no page, chart or audit of the real press finds them, and a right import of the same
counters finds their places free. What they were before is in `withdrawn_shots`.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace
from datetime import datetime

import sqlalchemy as sa

from collector import replay, withdrawn_limits
from collector.identity import Last
from collector.press_state import PressState, dump, load
from collector.store import alarms as alarm_store
from collector.store import gaps, imports, limits, places, presses, runs, set_asides
from collector.store import holds as hold_store
from collector.store.imports import ImportRow
from collector.store.tables import (
    alarms,
    counter_gaps,
    events,
    gaugings,
    holds,
    past_runs,
    shots,
    signals,
    withdrawn_shots,
)
from collector.store.tables import limits as limits_table
from collector.store.tables import runs as runs_table
from collector.store.withdrawn import SITE


@dataclass(frozen=True, slots=True, kw_only=True)
class Withdrawn:
    """What was taken back: shots, gaugings, runs without a shot left; alarms closed, holds let go."""

    shots: int
    gaugings: int
    runs: tuple[str, ...]
    alarms: tuple[int, ...]
    holds: tuple[int, ...]
    presses: tuple[int, ...]


def withdraw(conn: sa.Connection, row: ImportRow, *, who: str, why: str, at: datetime) -> Withdrawn:
    """Take an import back, in the transaction of the caller.

    Parameters
    ----------
    conn : Connection
        A writing transaction.
    row : ImportRow
        The import.
    who, why : str
        Who takes it back, and the reason that signals, alarms and holds carry.
    at : datetime
        Service time.

    Returns
    -------
    Withdrawn
    """
    by_press: dict[int, list[int]] = {}
    for found in imports.presses_of(conn, row):
        by_press.setdefault(found.press_id, []).extend([found.run_id] if found.run_id is not None else [])
    count, names, closed, let_go = 0, [], [], []
    for press_id in presses.in_lock_order(conn, by_press):
        one = _OnePress(conn, row, press_id, by_press[press_id], f"import {row.id} undone: {why}")
        count += one.move()
        names += one.empty_runs()
        one.drop_limits()
        closed += one.close_alarms(who, at)
        let_go += one.let_go
        one.rejudge()
    return Withdrawn(
        shots=count, gaugings=_gaugings(conn, row, at), runs=tuple(names), alarms=tuple(closed),
        holds=tuple(let_go), presses=tuple(by_press),
    )


def _gaugings(conn: sa.Connection, row: ImportRow, at: datetime) -> int:
    own = (*imports.of_gaugings(row), gaugings.c.withdrawn_at.is_(None))
    return conn.execute(sa.update(gaugings).where(*own).values(withdrawn_at=at)).rowcount


class _OnePress:
    """The share of one press in an import."""

    def __init__(
        self, conn: sa.Connection, row: ImportRow, press_id: int, run_ids: Collection[int], why: str
    ) -> None:
        presses.lock(conn, press_id)
        self.conn, self.row, self.press_id, self.why = conn, row, press_id, why
        self.run_ids = list(run_ids)
        self.press = presses.by_id(conn, press_id)
        self.aside = presses.find_or_add(conn, SITE, f"{self.press.site} {self.press.name} import {row.id}")
        self.emptied: list[int] = []
        self.let_go: list[int] = []
        self.dropped: set[int] = set()

    @property
    def _moved(self) -> sa.Select[tuple[int]]:
        c = withdrawn_shots.c
        return sa.select(c.shot_id).where(c.import_id == self.row.id, c.press_id == self.press_id)

    def move(self) -> int:
        """Move the shots and what belongs to them alone; how many there were."""
        own = (*imports.of_shots(self.row), shots.c.press_id == self.press_id)
        columns = (shots.c.id, sa.literal(self.row.id), shots.c.press_id, shots.c.run_id)
        names = ["shot_id", "import_id", "press_id", "run_id"]
        self.conn.execute(sa.insert(withdrawn_shots).from_select(names, sa.select(*columns).where(*own)))
        self._gaps()
        moved = self.conn.execute(
            sa.update(shots).where(shots.c.id.in_(self._moved)).values(press_id=self.aside.id, run_id=None)
        ).rowcount
        self._events()
        self.conn.execute(
            sa.update(signals).where(signals.c.shot_id.in_(self._moved))
            .values(press_id=self.aside.id, withdrawn=True, changed=self.why)
        )  # fmt: skip
        self.conn.execute(
            sa.update(gaugings).where(gaugings.c.shot_id.in_(self._moved))
            .values(shot_id=None, joined_by=None, run_id=None)
        )  # fmt: skip
        return moved

    def _events(self) -> None:
        """What the file or its shots told goes along; what people did at the press goes to the next shot."""
        own, e = events.c.shot_id.in_(self._moved), events.c
        mine = sa.or_(e.source == self.row.file_name, e.source == "service")
        self.conn.execute(sa.update(events).where(own, mine).values(press_id=self.aside.id))
        for event in self.conn.execute(sa.select(e.id, e.shot_id).where(own, ~mine)).all():
            following = sa.select(sa.func.min(shots.c.id)).where(
                shots.c.press_id == self.press_id, shots.c.id > event.shot_id
            )
            shot_id = self.conn.execute(following).scalar()
            self.conn.execute(sa.update(events).where(e.id == event.id).values(shot_id=shot_id))

    def _gaps(self) -> None:
        """Gaps that the shots showed go along; those that they filled are open again."""
        for gap in self.conn.execute(
            sa.select(counter_gaps).where(counter_gaps.c.press_id == self.press_id)
        ).all():
            inside = sa.select(shots.c.id, shots.c.counter).where(
                shots.c.id.in_(self._moved), shots.c.epoch == gap.epoch,
                shots.c.counter > gap.after_counter, shots.c.counter <= gap.before_counter,
            )
            counters = [found.counter for found in self.conn.execute(inside)]
            if gap.before_counter in counters:
                own = sa.update(counter_gaps).where(counter_gaps.c.id == gap.id)
                self.conn.execute(own.values(press_id=self.aside.id))
            elif counters:
                gaps.reopen(self.conn, gap.id, more=len(counters))

    def empty_runs(self) -> list[str]:
        """Move the runs that have no shot left, with their provisional limits; their names."""
        names = []
        for run_id in dict.fromkeys(self.run_ids):
            left = sa.select(shots.c.id).where(shots.c.run_id == run_id).limit(1)
            if self.conn.execute(left).first() is not None:
                runs.end_with_newest(self.conn, run_id)
                continue
            self.emptied.append(run_id)
            names.append(runs.by_id(self.conn, run_id).name)
            for table, column in ((runs_table, runs_table.c.id), (limits_table, limits_table.c.run_id)):
                self.conn.execute(sa.update(table).where(column == run_id).values(press_id=self.aside.id))
            self.conn.execute(sa.delete(past_runs).where(past_runs.c.run_id == run_id))
        return names

    def drop_limits(self) -> None:
        """Let go of the limits that these shots gave to a run which has others left."""
        left = set(self.run_ids).difference(self.emptied)
        aside_id = self.aside.id
        self.dropped = withdrawn_limits.drop(self.conn, self._moved, left, aside_id=aside_id, why=self.why)

    def close_alarms(self, who: str, at: datetime) -> list[int]:
        """Close the alarms that rest on these shots alone, and let their holds go; both leave their run."""
        standing = sa.select(signals.c.id).where(
            signals.c.alarm_id == alarms.c.id, signals.c.withdrawn.is_(False)
        )
        alone = sa.select(alarms.c.id, alarms.c.state, alarms.c.closed_at).where(
            alarms.c.first_shot_id.in_(self._moved), ~standing.exists()
        )
        found = self.conn.execute(alone).all()
        ids = [alarm.id for alarm in found]
        self._release(ids, who, at)
        for table, column in ((alarms, alarms.c.id), (holds, holds.c.alarm_id)):
            self.conn.execute(sa.update(table).where(column.in_(ids)).values(run_id=None))
        for alarm in found:
            if alarm.closed_at is None:
                self._close(alarm.id, alarm.state, who, at)
        return ids

    def _close(self, alarm_id: int, before: str, who: str, at: datetime) -> None:
        closed = {
            "state": "normal", "beneath": None, "changed_at": at, "closed_by": who, "closed_at": at,
            "cause": self.why,
        }
        alarm_store.change(self.conn, alarm_id, closed)
        shelf = set_asides.shelf_of(self.conn, alarm_id)
        if shelf is not None:
            set_asides.end(self.conn, shelf.id, at=at, who=who, reason=self.why)
        alarm_store.add_step(
            self.conn, alarm_id, at=at, event="close", before=before, after="normal", who=who, note=self.why
        )

    def _release(self, alarm_ids: list[int], who: str, at: datetime) -> None:
        waiting = sa.select(holds.c.id).where(
            holds.c.alarm_id.in_(alarm_ids), holds.c.state == hold_store.OPEN
        )
        let_go = {"state": hold_store.RELEASED, "closed_by": who, "closed_at": at, "note": self.why}
        for hold_id in self.conn.execute(waiting).scalars().all():
            self.let_go.append(hold_id)
            hold_store.change(self.conn, hold_id, let_go)
            hold_store.add_step(
                self.conn, hold_id, at=at, event=hold_store.RELEASED, who=who, reason=self.why
            )

    def rejudge(self) -> None:
        """Judge what is left of the runs again, and take the press's state back to its newest shot."""
        stored = presses.load_engine_state(self.conn, self.press_id)
        if stored is None:
            return
        state = load(stored, lambda each: limits.by_id(self.conn, each))
        newest = self._newest(state)
        if state.run_id in self.emptied:
            state = PressState(last=newest, tray=state.tray, tray_next=state.tray_next, clock=state.clock)
        known = state.keys.items()
        keys = {key: each for key, each in known if not each.limits or each.limits.id not in self.dropped}
        state = replace(state, last=newest, keys=keys, events_waiting=True)
        for run_id in dict.fromkeys(self.run_ids):
            if run_id not in self.emptied:
                state, _ = replay.replay(
                    self.conn, self.press_id, state, run_id=run_id, why=self.why, begun=()
                )
        presses.set_back(
            self.conn, self.press_id, dump(state), last_shot_id=self._newest_id(),
            last_shot_at=None if newest is None else newest.ended_at,
        )

    def _newest(self, state: PressState) -> Last | None:
        """Identity of the newest shot that is left."""
        c = shots.c
        last = state.last
        query = sa.select(c.epoch, c.counter, c.ended_at).where(c.press_id == self.press_id)
        found = self.conn.execute(query.order_by(*places.NEWEST_FIRST).limit(1)).one_or_none()
        if found is None:
            return None
        same = last is not None and (last.epoch, last.counter) == (found.epoch, found.counter)
        return last if same else Last(found.epoch, found.counter, found.ended_at)

    def _newest_id(self) -> int | None:
        newest = sa.select(sa.func.max(shots.c.id)).where(shots.c.press_id == self.press_id)
        return self.conn.execute(newest).scalar()
