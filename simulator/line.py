"""One press through its spans of production: shots, trays, and the events between them, in time order."""

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Literal

import numpy as np

from simulator.disc import set_disc
from simulator.faults import Episode, Situation, under
from simulator.floor import TRAY_SIZE, Post
from simulator.health import SOUND
from simulator.plant import Settings
from simulator.press import Outcome, PressState, cold_start, shoot, stand_still
from simulator.records import EventKind, SimEvent, SimRecord, SimShot, Truth
from simulator.stages import Setup

HALL_C = 23.0
HALL_SWING_K = 2.5  # day against night
WARM_SHOTS = 60  # unseen shots before a span that begins on a warm press


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """A stretch of production without a stop.

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
    stop_reason : str
        Why the press stops at the end.
    """

    start: datetime
    run: str
    end: datetime | None = None
    shots: int | None = None
    warm: bool = False
    stop_reason: str = "end of shift"


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
        """Episodes at work at a moment; moments must not go back."""
        while self._next is not None and self._next.start <= moment:
            self._active.append(self._next)
            self._next = next(self._coming, None)
        self._active = [episode for episode in self._active if moment < episode.end]
        return self._active


class Line:
    """One press with what it remembers between shots.

    Parameters
    ----------
    post : Post
        Press, mold, blend and recipe.
    seed : int
        With the press's number it fixes every random draw.
    episodes : iterable of Episode
        Ordered by start; those of other presses are skipped.
    standing : Standing
        Last counter and tray used before.
    """

    def __init__(self, post: Post, *, seed: int, episodes: Iterable[Episode], standing: Standing) -> None:
        self.post = post
        self._rng = np.random.default_rng([seed, post.number])
        self._book = EpisodeBook(episodes, post.press)
        self._counter, self._tray, self._position = standing.counter, standing.tray, TRAY_SIZE
        self._state: PressState | None = None
        self._ended: datetime | None = None
        self._run = ""
        self._lot = post.lot
        self._settings: Settings | None = None

    def records(self, spans: Iterable[Span]) -> Iterator[SimRecord]:
        """Everything this press says, in time order."""
        for span in spans:
            state = self._state_at(span)
            yield from self._open(span)
            yield from self._produce(span, state)
            yield self._event("state", self._now, state="stopped", reason=span.stop_reason)
        if self._run:
            yield self._run_event(self._now, "close")

    @property
    def _now(self) -> datetime:
        assert self._ended is not None  # set by the first span
        return self._ended

    def _state_at(self, span: Span) -> PressState:
        if span.warm:
            return self._warmed()
        if self._state is None or self._ended is None:
            return cold_start(self.post.setup, self._rng)
        idle_s = (span.start - self._ended).total_seconds()
        return stand_still(self._state, self.post.setup, idle_s=idle_s)

    def _warmed(self) -> PressState:
        state = cold_start(self.post.setup, self._rng)
        for _ in range(WARM_SHOTS):
            state, _ = shoot(state, self.post.setup, SOUND, ambient_c=HALL_C, rng=self._rng)
        return state

    def _open(self, span: Span) -> Iterator[SimEvent]:
        if self._run and span.run != self._run:
            yield self._run_event(self._now, "close")
        self._ended = span.start
        if span.run != self._run:
            self._run, self._settings = span.run, None
            yield self._run_event(span.start, "open")
        yield self._event("state", span.start, state="automatic", reason=None)

    def _produce(self, span: Span, state: PressState) -> Iterator[SimRecord]:
        made = 0
        while span.shots is None or made < span.shots:
            began = self._now
            episodes = self._book.at(began)
            situation = under(episodes, Situation(self.post.setup.settings), began)
            setup = Setup(
                machine=self.post.setup.machine,
                mold=self.post.setup.mold,
                blend=self.post.setup.blend,
                settings=situation.settings,
            )
            after, outcome = shoot(state, setup, situation.health, ambient_c=hall_c(began), rng=self._rng)
            ended = began + timedelta(milliseconds=round(outcome.cycle_time_s * 1000))
            if span.end is not None and ended > span.end:
                break
            yield from self._changes(began, episodes, situation.settings)
            self._counter, self._ended, self._state, state = self._counter + 1, ended, after, after
            yield from self._into_tray(began)
            yield self._shot(setup, outcome, episodes, began)
            made += 1

    def _changes(self, began: datetime, episodes: list[Episode], settings: Settings) -> Iterator[SimEvent]:
        lot = next((episode.lot for episode in episodes if episode.lot is not None), self.post.lot)
        if lot != self._lot:
            self._lot = lot
            yield self._run_event(began, "open")
        if settings != self._settings:
            self._settings = settings
            yield self._event("setpoints", began, setpoints=settings.by_key())

    def _into_tray(self, began: datetime) -> Iterator[SimEvent]:
        self._position += 1
        if self._position > TRAY_SIZE:
            self._tray, self._position = self._tray + 1, 1
            yield self._event("tray", began, tray=tray_name(self.post.press, self._tray), position=1)

    def _shot(self, setup: Setup, outcome: Outcome, episodes: list[Episode], began: datetime) -> SimShot:
        disc = set_disc(
            outcome.molding,
            setup.mold,
            setup.blend,
            lay_mm=outcome.lay_mm,
            spread_mm=outcome.spread_mm,
        )
        faults = {episode.fault for episode in episodes if episode.progress(began) > 0}
        if outcome.ring_missed:
            faults.add("ring_not_seated")
        return SimShot(
            press=self.post.press,
            counter=self._counter,
            ended_at=self._now,
            run=self._run,
            tray=tray_name(self.post.press, self._tray),
            tray_position=self._position,
            values=outcome.values,
            setpoints=setup.settings.by_key(),
            truth=Truth(
                faults=tuple(sorted(faults)),
                startup=outcome.startup,
                lot=self._lot,
                dome_24h_mm=disc.dome_24h_mm,
                diameter_24h_mm=disc.diameter_24h_mm,
                weight_g=disc.weight_g,
                fresh_dome_mm=disc.fresh_dome_mm,
                fresh_diameter_mm=disc.fresh_diameter_mm,
            ),
        )

    def _run_event(self, at: datetime, action: Literal["open", "close"]) -> SimEvent:
        """The run as it is now; "open" is sent again with the new lot when the lot changes."""
        return self._event(
            "run",
            at,
            run=self._run,
            mold=self.post.setup.mold.name,
            blend=self.post.setup.blend.name,
            lot=self._lot,
            color=self.post.color,
            recipe=self.post.recipe,
            recipe_version=1,
            action=action,
        )

    def _event(self, kind: EventKind, at: datetime, **payload: Any) -> SimEvent:
        return SimEvent(kind=kind, press=self.post.press, at=at, payload=payload)


def hall_c(moment: datetime) -> float:
    """Temperature of the hall: warmest at three in the afternoon."""
    hour = moment.hour + moment.minute / 60
    return HALL_C + HALL_SWING_K * math.sin(2 * math.pi * (hour - 9) / 24)


def tray_name(press: str, number: int) -> str:
    """Number on the tray, such as ``P1-041``."""
    return f"{press}-{number:03d}"


def run_name(number: int) -> str:
    """Name of a run, such as ``R-0412``."""
    return f"R-{number:04d}"
