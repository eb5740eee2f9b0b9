"""Shots that are stored word for word: those of one turn are looked up at once, since a file may hold 80,000.

Such a shot changes nothing, whatever the state of its press, so it is counted before anything else is asked.
Whatever differs in time or value goes the longer way, which knows polls, amendments and stragglers.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

import sqlalchemy as sa

from collector import amend
from collector.contract.shot import Shot
from collector.identity import Last
from collector.store import identities
from collector.store.identities import Kept


class ShotsAgain:
    """The stored shots that those of a turn may be again; nothing is read where all are new.

    Parameters
    ----------
    conn : Connection
    press_id : int
    shots : sequence of Shot
        That the turn will take.
    last : Last or None
        The newest shot of the press before the turn.
    """

    def __init__(self, conn: sa.Connection, press_id: int, shots: Sequence[Shot], last: Last | None) -> None:
        times = () if last is None else {each.ended_at for each in shots if each.ended_at <= last.ended_at}
        self._kept: dict[tuple[int | None, datetime], list[Kept]] = {}
        for each in identities.kept_at(conn, press_id, times) if times else ():
            self._kept.setdefault((each.counter, each.ended_at), []).append(each)
        self._amended: set[int] = set()

    def has(self, shot: Shot) -> bool:
        """Whether a shot is stored with this counter, this time and these values."""
        kept = self._kept.get((shot.counter, shot.ended_at), ())
        if len(kept) != 1 or kept[0].shot_id in self._amended:
            return False
        return amend.says_nothing_new(kept[0].values, kept[0].setpoints, shot)

    def forget(self, shot_id: int) -> None:
        """A stored shot was amended."""
        self._amended.add(shot_id)
