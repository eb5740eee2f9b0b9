"""New shots of one run that wait to be judged together, the press's own and those of a run of the past."""

from __future__ import annotations

from dataclasses import dataclass, field

from collector import engine
from collector.contract.shot import Shot
from collector.identity import Identity, Last
from collector.press_rows import PressRows, judged_as, new_shot
from collector.press_state import PressState
from collector.verdict import Policy


@dataclass(slots=True)
class WaitingShots:
    """New shots of the run that a press's state is in, in their order, not judged yet."""

    policy: Policy
    _shots: list[Shot] = field(default_factory=list)
    _identities: list[Identity] = field(default_factory=list)

    def __bool__(self) -> bool:
        return bool(self._shots)

    def add(self, shot: Shot, verdict: Identity) -> None:
        """Let a shot wait."""
        self._shots.append(shot)
        self._identities.append(verdict)

    def last(self, state: PressState) -> Last | None:
        """Identity of the newest shot, judged or not."""
        if not self._shots:
            return state.last
        return Last(self._identities[-1].epoch, self._shots[-1].counter, self._shots[-1].ended_at)

    def judge(self, state: PressState, rows: PressRows) -> PressState:
        """Judge what waits and keep it among the rows to be stored; the state is then that after it."""
        if not self._shots:
            return state
        state, judged = engine.run(state, self._shots, self._identities, self.policy)
        for shot, verdict, found in zip(self._shots, self._identities, judged, strict=True):
            rows.add(new_shot(rows.press.id, state.run_id, shot, verdict, **judged_as(found)), found)
        self._shots, self._identities = [], []
        return state
