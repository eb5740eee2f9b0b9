"""What the invented people of the demo do about alarms and holds, at believable times.

They know what went wrong only as well as the story's truth lets them find out. Only the demo uses this; on
a real floor people do it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import sqlalchemy as sa

from collector.actions import alarms as alarm_actions
from collector.actions import holds as hold_actions
from collector.clock import ServiceClock
from collector.store import database
from collector.store.tables import alarms, gaugings, holds, presses, shots
from simulator.faults import Episode

CAUSES = {
    "lot_change": ("new lot of the blend", "bags set aside, former lot back in the hopper"),
    "blocked_coolant_core": ("coolant line blocked, core half", "line flushed by the technician"),
    "blocked_coolant_cavity": ("coolant line blocked, cavity half", "line flushed by the technician"),
    "worn_check_ring": ("check ring leaks", "check ring changed with the press locked out"),
    "early_gate": ("safety gate opened early by hand", "timing of the gate gone through with the shift"),
    "shorter_cooling": ("cooling timer shortened", "timer back on the recipe"),
}
UNKNOWN = ("unknown after checks", "shots before and after look alike")
# A hold is decided when its discs have set and some of them were gauged.
DECIDED_AFTER = timedelta(hours=27)
HURRY = timedelta(minutes=45)
ASKING = ("active_unacknowledged", "returned_unacknowledged", "latched_unacknowledged")
OVER = ("normal", "latched_acknowledged")


@dataclass(frozen=True, slots=True)
class Tolerance:
    """Allowed dome of a mold, mm."""

    low: float
    high: float


@dataclass(frozen=True, slots=True)
class People:
    """Two operators, a technician and somebody for quality.

    Parameters
    ----------
    engine : Engine
    episodes : callable
        The faults that may be at work around a time.
    dome : mapping of str to Tolerance
        By press.
    unwatched : Episode or None
        A fault that nobody saw at the press: its alarm is taken in hand only when it is over, and the
        discs are boxed before anyone gauged them. The buyer's complaint comes from there.
    acknowledged_after, closed_after : timedelta
        How long an alarm waits for them, and how long after its return to normal they close it.
    """

    engine: sa.Engine
    episodes: Callable[[datetime], Sequence[Episode]]
    dome: dict[str, Tolerance]
    unwatched: Episode | None = None
    acknowledged_after: timedelta = timedelta(minutes=12)
    closed_after: timedelta = timedelta(minutes=25)

    def act(self, clock: ServiceClock) -> None:
        """Do what is due now."""
        now = clock.now()
        for alarm in self._open_alarms():
            if alarm.state in ASKING and now >= self._seen(alarm):
                alarm_actions.acknowledge(self.engine, alarm.id, who=operator(now), clock=clock)
            elif self._is_over(alarm, now):
                cause, note = self._found(alarm)
                alarm_actions.close(
                    self.engine, alarm.id, who="technician 1", clock=clock, cause=cause, note=note
                )
        for hold in self._open_holds():
            self._decide(hold, now, clock)

    def _open_alarms(self) -> Sequence[Any]:
        query = (
            sa.select(
                alarms.c.id,
                alarms.c.state,
                alarms.c.opened_at,
                alarms.c.changed_at,
                presses.c.name,
                # Discs out of tolerance are found a day after the shots that are to blame.
                sa.func.coalesce(shots.c.ended_at, alarms.c.opened_at).label("made_at"),
            )
            .join(presses, presses.c.id == alarms.c.press_id, isouter=True)
            .join(shots, shots.c.id == alarms.c.first_shot_id, isouter=True)
            .where(alarms.c.closed_at.is_(None))
        )
        with database.read(self.engine) as conn:
            return conn.execute(query).all()

    def _seen(self, alarm: Any) -> datetime:
        unseen = self.unwatched
        if unseen is not None and alarm.name == unseen.press and unseen.start <= alarm.opened_at < unseen.end:
            return unseen.end
        seen: datetime = alarm.opened_at + self.acknowledged_after
        return seen

    def _is_over(self, alarm: Any, now: datetime) -> bool:
        """Returned to normal a while ago."""
        return bool(alarm.state in OVER and now >= alarm.changed_at + self.closed_after)

    def _found(self, alarm: Any) -> tuple[str, str]:
        for episode in self.episodes(alarm.made_at):
            begun = episode.start <= alarm.made_at
            if alarm.name == episode.press and begun and alarm.made_at < episode.end + HURRY:
                return CAUSES.get(episode.fault, UNKNOWN)
        return UNKNOWN

    def _open_holds(self) -> Sequence[Any]:
        last = shots.alias()
        query = (
            sa.select(
                holds.c.id,
                holds.c.press_id,
                holds.c.from_shot_id,
                holds.c.to_shot_id,
                holds.c.opened_at,
                last.c.ended_at,
                presses.c.name,
            )
            .join(last, last.c.id == holds.c.to_shot_id)
            .join(presses, presses.c.id == holds.c.press_id)
            .where(holds.c.state == "open")
        )
        with database.read(self.engine) as conn:
            return conn.execute(query).all()

    def _decide(self, hold: Any, now: datetime, clock: ServiceClock) -> None:
        unseen = self.unwatched
        if unseen is not None and hold.name == unseen.press and unseen.start <= hold.opened_at < unseen.end:
            if now >= unseen.end + HURRY:
                reason = "boxed for the buyer before any disc was gauged"
                hold_actions.release(self.engine, hold.id, who="technician 1", clock=clock, reason=reason)
            return
        if now < hold.ended_at + DECIDED_AFTER:
            return
        gauged, outside = self._gauged(hold)
        words = f"{outside} of {gauged} gauged discs outside the tolerance of dome"
        settle = hold_actions.scrap if outside else hold_actions.release
        settle(self.engine, hold.id, who="quality 1", clock=clock, reason=words)

    def _gauged(self, hold: Any) -> tuple[int, int]:
        query = sa.select(gaugings.c.value).where(
            gaugings.c.press_id == hold.press_id,
            gaugings.c.shot_id.between(hold.from_shot_id, hold.to_shot_id),
            gaugings.c.characteristic == "dome",
        )
        with database.read(self.engine) as conn:
            domes = conn.execute(query).scalars().all()
        allowed = self.dome[hold.name]
        return len(domes), sum(not allowed.low <= dome <= allowed.high for dome in domes)


def operator(now: datetime) -> str:
    """Who is at the presses."""
    return "operator 1" if 6 <= now.hour < 14 else "operator 2"
