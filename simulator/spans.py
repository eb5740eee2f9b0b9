"""When a press makes what: stretches of production, last numbers used, and which episodes are on."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from simulator.faults import Episode
from simulator.plant import Settings


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """A stretch of production.

    Attributes
    ----------
    start : datetime
    run : str
        Opened at `start` if the span before had another one.
    end : datetime or None
        No shot ends later; None goes on for ever.
    shots : int or None
        Stop after this many.
    warm : bool
        The press was running before the span began: no startup.
    stop_reason : str or None
        Why the press stops at the end; None goes straight on with the next span.
    settings : Settings or None
        What is set in this stretch; None is the recipe's.
    recipe : str or None
        Name of the recipe that the run says; None is the usual one.
    trial : bool
        The run says that it is a trial.
    """

    start: datetime
    run: str
    end: datetime | None = None
    shots: int | None = None
    warm: bool = False
    stop_reason: str | None = "end of shift"
    settings: Settings | None = None
    recipe: str | None = None
    trial: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """Last numbers used on a press."""

    counter: int
    tray: int


class EpisodeBook:
    """Episodes of one press, in the order of their start; reads no further ahead than it must."""

    def __init__(self, episodes: Iterable[Episode], press: str) -> None:
        self._coming = (episode for episode in episodes if episode.press == press)
        self._next: Episode | None = next(self._coming, None)
        self._active: list[Episode] = []

    def at(self, moment: datetime) -> list[Episode]:
        """Episodes of which anything is there at a moment; moments must not go back."""
        while self._next is not None and self._next.start <= moment:
            self._active.append(self._next)
            self._next = next(self._coming, None)
        self._active = [episode for episode in self._active if moment < episode.over]
        return self._active
