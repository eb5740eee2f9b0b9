"""A case on one press for a time, and what a moment looks like under several of them."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from simulator.faults.case import Case, Situation


@dataclass(frozen=True, slots=True, kw_only=True)
class Episode:
    """One fault on one press for a time.

    Attributes
    ----------
    fault : str
        Its name in the table of faults.
    start, end : datetime
        From the first cycle that begins at or after `start` to the last that begins before `end`; a case that
        fades lingers on.
    case : Case
        What exactly goes wrong.
    ordinary : bool
        Belongs to any week on any floor; no shot counts as touched by it.
    """

    fault: str
    press: str
    start: datetime
    end: datetime
    case: Case
    ordinary: bool = False

    @property
    def over(self) -> datetime:
        """From when nothing of it is left."""
        return self.end + timedelta(seconds=self.case.lingers_s)

    def grown(self, moment: datetime) -> float:
        """How far it has grown, 0 to 1; 0 before its start and when nothing is left."""
        if not self.start <= moment < self.over:
            return 0.0
        elapsed_s = (moment - self.start).total_seconds()
        if moment < self.end:
            return self.case.grown(elapsed_s)
        return self.case.left(elapsed_s, (moment - self.end).total_seconds())


def under(episodes: Iterable[Episode], situation: Situation, moment: datetime) -> Situation:
    """Apply every episode at a moment, in the order given."""
    for episode in episodes:
        grown = episode.grown(moment)
        if grown > 0:
            situation = episode.case.apply(situation, grown)
    return situation
