"""Late and corrected shots of one transaction: each run they touch is judged again once, at its end.

Until then shots that follow are judged by the charts as they stand, and the judgment of the whole run mends
what that made of them.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime

import sqlalchemy as sa

from collector import replay
from collector.contract.figures import counted
from collector.contract.shot import Shot
from collector.identity import Identity
from collector.press_rows import new_shots
from collector.press_state import PressState
from collector.store import gaps, runs, shots
from collector.verdict import Verdict


@dataclass(slots=True)
class _Cause:
    first: str
    more: int = 0

    def sentence(self) -> str:
        if not self.more:
            return self.first
        return f"{self.first}, and {counted(self.more, 'more shot')}"


class LateShots:
    """Runs of one press that have to be judged again, and why."""

    def __init__(self, conn: sa.Connection, press_id: int) -> None:
        self._conn = conn
        self._press_id = press_id
        self._causes: dict[int, _Cause] = {}

    def insert(
        self, shot: Shot, verdict: Identity, *, now: datetime, run_id: int | None = None
    ) -> tuple[int, int | None]:
        """Store a shot in a run, by default that of its neighbors, and return its id and its run."""
        place = replay.place_of(self._conn, self._press_id, verdict.epoch, shot)
        run_id = place.run_id if run_id is None else run_id
        unjudged = Verdict(place.phase, None, None, shot.tray, shot.tray_position)
        new = new_shots(self._press_id, run_id, [shot], [verdict], [unjudged])
        (shot_id,) = shots.insert(self._conn, new)
        if shot.counter is not None:
            gaps.arrived(self._conn, self._press_id, verdict.epoch, shot.counter, at=now)
        if run_id is not None:
            runs.reach_back(self._conn, run_id, to=shot.ended_at)
        return shot_id, run_id

    def note(self, run_id: int | None, why: str) -> None:
        """A shot of a run arrived late or was corrected."""
        if run_id is None:
            return  # no charts without a run
        if run_id in self._causes:
            self._causes[run_id].more += 1
        else:
            self._causes[run_id] = _Cause(why)

    def replay(self, state: PressState, begun: Collection[str | None]) -> tuple[PressState, list[int]]:
        """Judge every run noted again; all their shots are stored.

        Returns
        -------
        state : PressState
            With the charts of the open run as they would have been.
        added : list of int
            Signals that appeared.
        """
        added: list[int] = []
        for run_id, cause in self._causes.items():
            state, ids = replay.replay(
                self._conn, self._press_id, state, run_id=run_id, why=cause.sentence(), begun=begun
            )
            added += ids
        self._causes.clear()
        return state, added
