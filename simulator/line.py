"""One press through its spans of production: shots, trays, and the events between them, in time order."""

from collections.abc import Generator, Iterable, Iterator, Mapping
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any, Literal

import numpy as np

from simulator.disc import Disc, set_disc
from simulator.faults import Episode, Situation, under
from simulator.floor import TRAY_SIZE, Post, tray_name
from simulator.hall import HALL_C, hall_c
from simulator.handling import Handling
from simulator.health import SOUND
from simulator.plant import Settings
from simulator.press import Outcome, PressState, cold_start, shoot, stand_still
from simulator.records import EventKind, SimEvent, SimRecord, SimShot, Truth
from simulator.spans import EpisodeBook, Span, Standing
from simulator.stages import Setup
from simulator.twin import Twin

SHORT_STOP = "short stop"
WARM_SHOTS = 60  # unseen shots before a span that begins on a warm press


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
        self._handling = Handling(post.setup, np.random.default_rng([seed, post.number, 3]))
        self._book = EpisodeBook(episodes, post.press)
        self._counter, self._tray, self._position = standing.counter, standing.tray, TRAY_SIZE
        self._state: PressState | None = None
        self._twin = Twin(post.setup)
        self._ended: datetime | None = None
        self._run, self._recipe, self._trial = "", post.recipe, False
        self._poured = (post.lot, post.color)
        self._settings: Settings | None = None
        self._stopped: Episode | None = None
        self._runs_on = False

    def records(self, spans: Iterable[Span]) -> Iterator[SimRecord]:
        """Everything this press says, in time order."""
        for span in spans:
            state = self._state_at(span)
            yield from self._open(span)
            yield from self._produce(span, state)
            self._runs_on = span.stop_reason is None
            if span.stop_reason is not None:
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
        if self._runs_on:
            return self._state
        begins = max(span.start, self._ended)  # a stop may have outlasted the pause before this span
        return self._stood(self._state, (begins - self._ended).total_seconds(), begins)

    def _warmed(self) -> PressState:
        state = cold_start(self.post.setup, self._rng)
        for _ in range(WARM_SHOTS):
            state, _ = shoot(state, self.post.setup, SOUND, ambient_c=HALL_C, rng=self._rng)
        return state

    def _stood(self, state: PressState, idle_s: float, until: datetime) -> PressState:
        """The press after it stood; its twin stood, too."""
        self._twin.stand_still(idle_s)
        ill = under(self._book.at(until), Situation(self.post.setup.settings), until)
        return stand_still(state, self.post.setup, idle_s=idle_s, health=ill.health)

    def _open(self, span: Span) -> Iterator[SimEvent]:
        if self._run and span.run != self._run:
            yield self._run_event(self._now, "close")
        if self._runs_on and span.run == self._run:
            return
        if self._ended is None or (not self._runs_on and self._ended < span.start):
            self._ended = span.start
        if span.run != self._run:
            self._run, self._settings = span.run, None
            self._recipe = self.post.recipe if span.recipe is None else span.recipe
            self._trial = span.trial
            yield self._run_event(self._now, "open")
        if not self._runs_on:
            yield self._event("state", self._now, state="automatic", reason=None)

    def _produce(self, span: Span, state: PressState) -> Iterator[SimRecord]:
        made, usual = 0, Situation(span.settings or self.post.setup.settings)
        while span.shots is None or made < span.shots:
            began = self._now
            episodes = self._book.at(began)
            stopping = self._stopping(episodes)
            if stopping is not None and stopping.case.stop is not None and stopping.case.stop.told:
                state = yield from self._stand(state, stopping)
                continue
            situation = self._left_open(under(episodes, usual, began), stopping)
            draws = self._rng.bit_generator.state
            after, outcome = self._shoot(state, situation, began)
            ended = began + timedelta(milliseconds=round(outcome.cycle_time_s * 1000))
            if span.end is not None and ended > span.end:
                self._stopped = None if stopping is not None else self._stopped  # it comes after the pause
                break
            yield from self._changes(began, episodes, situation.settings)
            disc = self._set(outcome)
            sound = self._sound_disc(episodes, usual, state, draws, began)
            self._counter, self._ended, self._state = self._counter + 1, ended, after
            if not any(_is_fault(episode) for episode in episodes):
                self._twin.end_if_like(after)
            yield from self._into_tray(began)
            yield self._shot(situation, outcome, disc, sound or disc, self._names(episodes, began, outcome))
            state, made = after, made + 1

    def _shoot(self, state: PressState, situation: Situation, began: datetime) -> tuple[PressState, Outcome]:
        ambient_c = hall_c(began) + situation.hall_k
        setup = self._setup(situation.settings)
        return shoot(state, setup, situation.health, ambient_c=ambient_c, rng=self._rng)

    def _setup(self, settings: Settings) -> Setup:
        usual = self.post.setup
        if settings is usual.settings:
            return usual
        return Setup(machine=usual.machine, mold=usual.mold, blend=usual.blend, settings=settings)

    def _set(self, outcome: Outcome) -> Disc:
        setup, lay_mm, spread_mm = self.post.setup, outcome.lay_mm, outcome.spread_mm
        return set_disc(outcome.molding, setup.mold, setup.blend, lay_mm=lay_mm, spread_mm=spread_mm)

    def _stopping(self, episodes: list[Episode]) -> Episode | None:
        """An episode whose stop is due and has not been made."""
        due = next((e for e in episodes if e.case.stop is not None and e is not self._stopped), None)
        self._stopped = due or self._stopped
        return due

    def _stand(self, state: PressState, episode: Episode) -> Generator[SimEvent, None, PressState]:
        """A stop that the press tells of."""
        assert episode.case.stop is not None
        length_s = episode.case.stop.length_s
        yield self._event("state", self._now, state="stopped", reason=SHORT_STOP)
        self._twin.begin(state)
        self._ended = self._now + timedelta(seconds=round(length_s))
        yield self._event("state", self._now, state="automatic", reason=None)
        return stand_still(state, self.post.setup, idle_s=length_s)

    def _left_open(self, situation: Situation, stopping: Episode | None) -> Situation:
        """A stop that nobody tells of: the gate stays open after this shot."""
        if stopping is None or stopping.case.stop is None:
            return situation
        longer = 1 + stopping.case.stop.length_s / self.post.setup.machine.mold_open_time_s
        health = replace(situation.health, pace_factor=situation.health.pace_factor * longer)
        return replace(situation, health=health)

    def _sound_disc(
        self,
        episodes: list[Episode],
        usual: Situation,
        state: PressState,
        draws: Mapping[str, Any],
        began: datetime,
    ) -> Disc | None:
        """The disc that would have been without a fault; None where it is the same."""
        if any(_is_fault(episode) for episode in episodes):
            self._twin.begin(state)
        if not self._twin.is_there:
            return None
        sound = under((e for e in episodes if e.ordinary), usual, began)
        ambient_c = hall_c(began) + sound.hall_k
        return self._twin.make(self._setup(sound.settings), sound, ambient_c=ambient_c, draws=draws)

    def _changes(self, began: datetime, episodes: list[Episode], settings: Settings) -> Iterator[SimEvent]:
        poured = self._in_hopper(episodes, began)
        if poured != self._poured:
            self._poured = poured
            yield self._run_event(began, "open")
        if settings != self._settings:
            self._settings = settings
            yield self._event("setpoints", began, setpoints=settings.by_key())

    def _in_hopper(self, episodes: list[Episode], moment: datetime) -> tuple[str, str]:
        """Lot and color that somebody told of."""
        cases = [e.case for e in episodes if e.case.announced and moment < e.end]
        lot = next((case.lot for case in cases if case.lot is not None), self.post.lot)
        return lot, next((case.color for case in cases if case.color is not None), self.post.color)

    def _into_tray(self, began: datetime) -> Iterator[SimEvent]:
        self._position += 1
        if self._position > TRAY_SIZE:
            self._tray, self._position = self._tray + 1, 1
            yield self._event("tray", began, tray=tray_name(self.post.press, self._tray), position=1)

    def _names(self, episodes: list[Episode], began: datetime, outcome: Outcome) -> tuple[str, ...]:
        names = {episode.fault for episode in episodes if _is_fault(episode) and episode.grown(began) > 0}
        if outcome.ring_missed:
            names.add("ring_not_seated")
        return tuple(sorted(names))

    def _shot(
        self, situation: Situation, outcome: Outcome, disc: Disc, sound: Disc, faults: tuple[str, ...]
    ) -> SimShot:
        return SimShot(
            press=self.post.press,
            counter=self._counter,
            ended_at=self._now,
            run=self._run,
            tray=tray_name(self.post.press, self._tray),
            tray_position=self._position,
            values={key: v for key, v in outcome.values.items() if key not in self.post.unreported},
            setpoints=situation.settings.by_key(),
            truth=Truth(
                counter=self._counter,
                ended_at=self._now,
                faults=faults,
                startup=outcome.startup,
                lot=situation.lot or self.post.lot,
                dome_24h_mm=disc.dome_24h_mm,
                diameter_24h_mm=disc.diameter_24h_mm,
                weight_g=disc.weight_g,
                sound_dome_24h_mm=sound.dome_24h_mm,
                scrapped=self._handling.scraps(disc, startup=outcome.startup),
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
            lot=self._poured[0],
            color=self._poured[1],
            recipe=self._recipe,
            recipe_version=1,
            action=action,
            **({"trial": True} if self._trial else {}),
        )

    def _event(self, kind: EventKind, at: datetime, **payload: Any) -> SimEvent:
        return SimEvent(kind=kind, press=self.post.press, at=at, payload=payload)


def _is_fault(episode: Episode) -> bool:
    return not episode.ordinary
