"""How well did the service do on one story? What it raised and held, against the truth.

Definitions
-----------
Alarmed: at a shot that the fault touched, or within 24 shots after the last one, an alarm told people
something new (opened, took in another characteristic, came back), and named a reading or setpoint that shows
the fault.

In time: alarmed before the first disc out of tolerance had set for 24 h and could be gauged.

False: an alarm that opened at a sound shot: nothing was wrong there or in the 60 shots before, and the press
was not starting.

Held: every shot between the first and the last of an alarm's hold, whatever became of its message.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict, dataclass, replace
from datetime import timedelta
from typing import Any

from simulator.score_alarms import Raised
from simulator.score_shop import Standings
from simulator.score_truth import Account, Matter, Sound
from simulator.score_watch import Watched

LATEST_AFTER = 24
_HOUR = timedelta(hours=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """What the service made of one fault; shots are counted from the first touched one, which is 0.

    Attributes
    ----------
    matter : Matter
    alarmed : bool
    delay, delay_from_out : int or None
        Shots from the first touched one, and from the first disc out of tolerance (negative: before it), to
        the alarm.
    hours_gained : float or None
        From the alarm to when that disc could be gauged; 0 when nobody was told.
    by : tuple of str
        Characteristic, chart and rule of the alarm's first shot.
    error : int or None
        Estimated first shot less the true one.
    covered : bool or None
        The true first shot lies in the estimate's set.
    set_size : int or None
        Shots in that set.
    """

    matter: Matter
    alarmed: bool
    delay: int | None = None
    delay_from_out: int | None = None
    hours_gained: float | None = None
    by: tuple[str, ...] = ()
    error: int | None = None
    covered: bool | None = None
    set_size: int | None = None

    @property
    def in_time(self) -> bool | None:
        """Told before a disc could tell; None where no disc left the tolerance."""
        if self.matter.gauged_first is None:
            return None
        return self.alarmed and (self.hours_gained or 0.0) > 0


@dataclass(frozen=True, slots=True)
class FalseAlarm:
    """An alarm at a sound shot: what it said, what signaled first, and which shot it was (see `Sound`)."""

    press: str
    headline: str
    charts: tuple[str, ...]
    shot: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Score:
    """One story's score.

    Attributes
    ----------
    told : tuple of Told
    false_alarms : tuple of FalseAlarm
    sound : tuple of Sound
        Shots at which an alarm would have been false.
    out, out_held : int
        Discs out of tolerance because of a fault, and those of them inside holds.
    perfect : int
        Shots that a perfect observer would hold.
    held, held_sound, held_needless : int
        Shots held in all; those of them that no fault touched; and those touched only by faults that put no
        disc out of tolerance.
    """

    scenario: str
    seed: int
    told: tuple[Told, ...]
    false_alarms: tuple[FalseAlarm, ...]
    sound: tuple[Sound, ...]
    out: int
    out_held: int
    perfect: int
    held: int
    held_sound: int
    held_needless: int
    standings: Standings

    def to_json(self) -> dict[str, Any]:
        """The score as JSON types, times as text."""
        made = asdict(replace(self, sound=()))
        made["sound_days"] = sum(each.days for each in self.sound)
        del made["sound"]
        for each in made["told"]:
            at = each["matter"]["gauged_first"]
            each["matter"]["gauged_first"] = None if at is None else at.isoformat()
        return made


def judge(scenario: str, seed: int, truth: Account, watched: Watched) -> Score:
    """Hold what the service concluded against the truth.

    Parameters
    ----------
    scenario, seed
        Of the story.
    truth : Account
    watched : Watched

    Returns
    -------
    Score
    """
    false = [alarm for alarm in watched.alarms if alarm.calls[0].shot in truth.sound.get(alarm.press, ())]
    held = _shots(watched.alarms)
    out = {(press, counter) for press, counters in truth.out.items() for counter in counters}
    perfect = {(each.press, n) for each in truth.perfect for n in range(each.first, each.last + 1)}
    touched = {(press, counter) for press, counters in truth.touched.items() for counter in counters}
    movers = [matter for matter in truth.matters if matter.out]
    moved = {(each.press, n) for each in movers for n in range(each.first, each.last + 1)}
    return Score(
        scenario=scenario, seed=seed,
        told=tuple(_told(matter, truth, watched.alarms) for matter in truth.matters),
        false_alarms=tuple(
            FalseAlarm(a.press, a.headline, a.charts, truth.sound[a.press][a.calls[0].shot].identity)
            for a in false
        ),
        sound=tuple(each for shots in truth.sound.values() for each in shots.values()),
        out=len(out), out_held=len(out & held), perfect=len(perfect),
        held=len(held), held_sound=len(held - touched), held_needless=len(held & touched - moved - perfect),
        standings=watched.standings,
    )  # fmt: skip


def _told(matter: Matter, truth: Account, alarms: Iterable[Raised]) -> Told:
    calls = [
        (call.shot, alarm)
        for alarm in alarms
        if alarm.press == matter.press
        for call in alarm.calls
        if matter.first <= call.shot <= matter.last + LATEST_AFTER and call.keys & matter.shown_by.keys()
    ]
    if not calls:
        return Told(matter=matter, alarmed=False, hours_gained=None if matter.gauged_first is None else 0.0)
    call, alarm = min(calls, key=lambda each: each[0])
    ended_at = truth.ended_at[matter.press]
    gained = None if matter.gauged_first is None else (matter.gauged_first - ended_at[call]) / _HOUR
    return Told(
        matter=matter, alarmed=True, delay=call - matter.first,
        delay_from_out=None if matter.first_out is None else call - matter.first_out,
        hours_gained=None if gained is None else max(gained, 0.0), by=alarm.charts,
        error=alarm.first - matter.first, covered=alarm.low <= matter.first <= alarm.high,
        set_size=alarm.high - alarm.low + 1,
    )  # fmt: skip


def _shots(alarms: Iterable[Raised]) -> set[tuple[str, int]]:
    """Shots inside the holds of alarms."""
    return {
        (alarm.press, counter)
        for alarm in alarms
        if alarm.held is not None
        for counter in range(alarm.held[0], alarm.held[1] + 1)
    }
