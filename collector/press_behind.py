"""Shots that are not the next of their press: told again, corrected, or late.

What is stored is never written over: a shot told again changes nothing, a corrected one is an amendment, and
a late one goes where it belongs and has its run judged again. Whoever calls has stored what waits before.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from itertools import count

from collector import amend, press_identity
from collector.contract.shot import Shot
from collector.counts import Counts
from collector.data_checks import signals as data_checks
from collector.identity import Identity, Kind, Last, Stored
from collector.press_again import ShotsAgain
from collector.press_identity import Lookup
from collector.press_late import LateShots
from collector.press_rows import PressRows
from collector.press_state import PressState
from collector.store import archives, gaps, identities, shots, signals


class ShotsBehind:
    """The shots of one press in one transaction that are held against what is stored.

    Parameters
    ----------
    rows : PressRows
        Of the press, for what has to be said.
    counts : Counts
        Of the transaction, counted on here.
    now : datetime
        Service time.
    """

    def __init__(self, rows: PressRows, counts: Counts, *, now: datetime) -> None:
        self._conn = rows.conn
        self._press_id = rows.press.id
        self._rows = rows
        self._counts = counts
        self._now = now
        self._lookup = Lookup(rows.conn, rows.press.id)
        self._again = ShotsAgain(rows.conn, rows.press.id, (), None)
        self.late = LateShots(rows.conn, rows.press.id)

    def look_ahead(self, to_come: Sequence[Shot], last: Last | None) -> None:
        """Look up at once which of the shots to come are stored already; `last` is the newest one stored."""
        self._again = ShotsAgain(self._conn, self._press_id, to_come, last)

    def take_again(self, shot: Shot) -> bool:
        """Take a shot that is stored word for word; False if it is not, or not for certain."""
        again = self._again.has(shot)
        self._counts.duplicates += again
        return again

    def forget(self) -> None:
        """Shots were stored."""
        self._lookup.forget()

    def identify(self, shot: Shot, state: PressState) -> tuple[Identity, list[Stored]]:
        """What a shot is to those that are stored, and the stored ones it is like."""
        like = self._lookup.alike(shot, state)
        return press_identity.compared(shot, like, state), like

    def take(self, shot: Shot, verdict: Identity, state: PressState) -> None:
        """Take a shot that is known or late."""
        if verdict.kind is Kind.LATE:
            self._insert(shot, verdict, state)
            return
        assert verdict.shot_id is not None
        shot_id = self._lookup.same(shot, verdict.shot_id, state)
        if shot_id is None:
            at = identities.free_time(self._conn, self._press_id, shot.ended_at)
            self._insert(shot._replace(ended_at=at), Identity(Kind.LATE, epoch=verdict.epoch), state)
        elif archives.is_moved(self._conn, shot_id):
            self._archived(shot)
        elif amend.amend(self._conn, shot_id, shot, at=self._now):
            self._counts.amended += 1
            self._again.forget(shot_id)
            why = f"shot {shot.counter} was corrected by {shot.source}"
            self.late.note(shots.run_of(self._conn, shot_id), why)
        else:
            self._counts.duplicates += 1

    def fills_gap(self, shot: Shot, state: PressState) -> bool:
        """Take a shot that the press counted and nobody told; False if its counter is none of those."""
        if shot.counter is None:
            return False
        epoch = gaps.epoch_of(self._conn, self._press_id, shot.counter, shot.ended_at)
        if epoch is None:
            return False
        self._insert(shot, Identity(Kind.LATE, epoch=epoch), state)
        return True

    def joins_past(self, shot: Shot, like: Sequence[Stored], state: PressState) -> bool:
        """Take a straggler of a run of the past, whose counters are not the press's; False if it is none."""
        epoch = identities.epoch_near(self._conn, self._press_id, shot)
        if epoch is None or state.last is None or identities.same_stretch(epoch, state.last.epoch):
            return False
        taken = {each.epoch for each in like} if shot.counter is not None else ()
        free = next(each for each in count(epoch) if each not in taken)
        self._store(shot, Identity(Kind.LATE, epoch=free))
        return True

    def _insert(self, shot: Shot, verdict: Identity, state: PressState) -> None:
        """Store a straggler of the press, whose values are held against what they usually are."""
        shot_id = self._store(shot, verdict)
        doubts = data_checks.look_at_late(state.data, shot, state.keys)
        signals.insert(self._conn, [signals.row(self._press_id, shot_id, each) for each in doubts])

    def _store(self, shot: Shot, verdict: Identity) -> int:
        """Store a straggler where it belongs and have it judged again from there."""
        shot_id, run_id = self.late.insert(shot, verdict, now=self._now)
        self._lookup.forget()
        self._counts.late += 1
        if run_id is not None and archives.is_archived(self._conn, run_id):
            self._note(shot, "came after the values of its run were archived; no chart judged it")
        self.late.note(run_id, f"shot {shot.counter} arrived late from {shot.source}")
        return shot_id

    def _archived(self, shot: Shot) -> None:
        """What came again cannot be held against values that are in a file; it is kept beside them."""
        self._counts.duplicates += 1
        note = "came again after its values were archived; restore the run and send it anew if they differ"
        self._note(shot, note, new=dict(shot.values))

    def _note(self, shot: Shot, note: str, **what: object) -> None:
        note = f"shot {shot.counter} {note}"
        self._rows.event("late", at=shot.ended_at, source=shot.source, note=note, **what)
