"""New shots of one run that wait to be judged together, the press's own and those of a run of the past."""

from __future__ import annotations

from dataclasses import dataclass, field

from collector import engine
from collector.contract.shot import Shot
from collector.identity import Identity, Last
from collector.press_rows import PressRows, new_shots
from collector.press_state import PressState
from collector.verdict import Policy


@dataclass(slots=True)
class WaitingShots:
    """New shots of the run that a press's state is in, in their order, not judged yet."""

    policy: Policy
    _shots: list[Shot] = field(default_factory=list)
    _identities: list[Identity] = field(default_factory=list)
    _last: Last | None = None  # of those that wait

    def __bool__(self) -> bool:
        return bool(self._shots)

    def add(self, shot: Shot, verdict: Identity) -> None:
        """Let a shot wait."""
        self._shots.append(shot)
        self._identities.append(verdict)
        self._last = Last(verdict.epoch, shot.counter, shot.ended_at)

    def last(self, state: PressState) -> Last | None:
        """Identity of the newest shot, judged or not."""
        return state.last if self._last is None else self._last

    def judge(self, state: PressState, rows: PressRows) -> PressState:
        """Judge what waits and keep it among the rows to be stored; the state is then that after it."""
        if not self._shots:
            return state
        state, judged = engine.run(state, self._shots, self._identities, self.policy)
        new = new_shots(rows.press.id, state.run_id, self._shots, self._identities, judged)
        rows.add(new, judged)
        self._shots, self._identities, self._last = [], [], None
        return state
