"""What a lane says beside its dots: one plain sentence, and what a person must do. Pure."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal

from collector.alarms.extent_words import tray_words
from dashboard.blocks.alarm_words import over_words
from dashboard.queries.floor_facts import AlarmFacts, Floor, Lane
from dashboard.queries.hold_extent import Held

Tone = Literal["signal", "silent", "calm"]
Local = Callable[[datetime], datetime]

OVER = ("returned_unacknowledged", "normal", "latched_unacknowledged", "latched_acknowledged")
# More letters do not fit the one line of a lane among six at a size that is read at 5 m; all trays stand on
# the alarm's own page.
LONGEST_TRAYS = 36
LONGEST_TRAYS_OF_TWO = 20  # where older holds are told of on the same line
GATEWAY = {"online": "gateway online", "offline": "gateway offline", "stopped": "press says stopped"}


@dataclass(frozen=True, slots=True)
class Sentence:
    """`tone` picks the mark in front: yellow diamond, white diamond, or none. `act` gets a blue square."""

    tone: Tone
    headline: str
    detail: str = ""
    act: str = ""


def sentence(lane: Lane, now: datetime, *, local: Local, provisional_shots: int) -> Sentence:
    """What to read off one lane.

    Parameters
    ----------
    lane : Lane
    now : datetime
        Service time.
    local : callable
        Turns a stored time into the shop's zone.
    provisional_shots : int
        Steady shots from which limits stand.
    """
    act = act_words(lane)
    if lane.alarm is not None:
        # The first thing that moved is for five meters; what else moved is for somebody who stands closer.
        headline, *others = lane.alarm.headline.split("; ")
        return Sentence("signal", headline, _alarm_detail(lane, lane.alarm, others, now, local), act)
    if lane.activity == "silent":
        return Sentence(
            "silent", f"silent for {span(now - _since(lane, now))}", _silent(lane, now, local), act
        )
    if lane.activity == "idle":
        return Sentence("calm", _idle(lane, now, local), "", act)
    return _running(lane, now, provisional_shots, act)


def _running(lane: Lane, now: datetime, provisional_shots: int, act: str) -> Sentence:
    last = lane.last
    if last is None:
        return Sentence("calm", "waiting for the first shot", "", act)
    number = "" if last.counter is None else f"shot {last.counter:,}"
    if last.phase == "trial":
        headline = f"trial, {number}" if number else "trial"
        return Sentence("calm", headline, "stored and shown, not charted", act)
    if last.phase != "charted":
        steady = lane.steady_shots or 0
        headline = f"starting, {number}" if number else "starting"
        return Sentence("calm", headline, f"{steady} steady shots · limits from {provisional_shots}", act)
    cycle = "" if last.cycle_time_s is None else f"{last.cycle_time_s:.1f} s"
    parts = [number, cycle, f"{span(now - last.ended_at)} ago"]
    return Sentence("calm", "steady", joined([*parts, _provisional(lane), _quiet(lane)]), act)


def _provisional(lane: Lane) -> str:
    """Nobody has approved the limits; what can be done about it stands there until it is done."""
    if not lane.provisional:
        return ""
    return "provisional limits" + (", better ones can be studied now" if lane.studyable else "")


def _quiet(lane: Lane) -> str:
    """That something is kept quiet must stand where it would have been said."""
    number = lane.alarms_quiet
    return f"{number} alarm{'' if number == 1 else 's'} kept quiet" if number else ""


def _alarm_detail(lane: Lane, alarm: AlarmFacts, others: Sequence[str], now: datetime, local: Local) -> str:
    parts = []
    if lane.activity == "silent":
        parts.append(f"silent for {span(now - _since(lane, now))}")
    parts.append(_since_shot(alarm, now, local))
    parts += others
    parts.append("acknowledged" if alarm.state == "active_acknowledged" else "")
    parts.append(over_words(alarm.kind) if alarm.state in OVER else "")
    parts.append("provisional limits" if alarm.provisional else "")
    if lane.alarms_open > 1:
        parts.append(f"{lane.alarms_open - 1} more")
    parts.append(_quiet(lane))
    if alarm.cause:
        parts.append(f"often {_short_cause(alarm.cause)}")
    return joined(parts)


def _short_cause(cause: str) -> str:
    """The first name of a cause; its others, and what to check, stand on the alarm's own page."""
    first = re.split(r",| or | on that shot| \(", cause)[0]
    return first[:1].lower() + first[1:]


def _since_shot(alarm: AlarmFacts, now: datetime, local: Local) -> str:
    if alarm.change_at is None:
        return f"since {clock_time(alarm.opened_at, now, local)}"
    at = clock_time(alarm.change_at, now, local)
    return f"since {at}" if alarm.change_counter is None else f"since shot {alarm.change_counter:,} ({at})"


def _since(lane: Lane, now: datetime) -> datetime:
    return lane.quiet_since or now


def _silent(lane: Lane, now: datetime, local: Local) -> str:
    parts = []
    if lane.last is not None:
        number = "" if lane.last.counter is None else f" {lane.last.counter:,}"
        parts.append(f"last shot{number} at {clock_time(lane.last.ended_at, now, local)}")
    parts.append(GATEWAY.get(lane.state or "", ""))
    return joined(parts)


def _idle(lane: Lane, now: datetime, local: Local) -> str:
    if lane.quiet_since is None:
        return "no run yet"
    return f"idle since {clock_time(lane.quiet_since, now, local)}"


def act_words(lane: Lane) -> str:
    """What to set aside: first what the alarm beside it means, then how much older holds keep."""
    own = lane.alarm_hold if lane.alarm is not None else lane.hold
    older = lane.hold.discs - own.discs
    if lane.first_shot_waits and not own.discs:
        return joined(["Look at the first discs", f"{older:,} older held" if older > 0 else ""])
    if older <= 0:
        return hold_words(own)
    return joined([hold_words(own, longest=LONGEST_TRAYS_OF_TWO), f"{older:,} older held"])


def hold_words(hold: Held, *, longest: int = LONGEST_TRAYS) -> str:
    """``Hold trays 41 to 44, 43 discs``; empty when nothing is on hold."""
    if not hold.discs:
        return ""
    discs = f"{hold.discs:,} disc" + ("s" if hold.discs != 1 else "")
    if not hold.trays:
        return f"Hold {discs}"
    named = tray_words(hold.trays)
    if len(named) > longest:
        named = tray_words(hold.trays, most=1)
    return f"Hold {named}, {discs}"


def run_words(lane: Lane) -> tuple[str, str]:
    """Two small lines under the press's name: what it makes, and from what."""
    run = lane.run
    if run is None or run.closed_at is not None:
        return "no run", ""
    lot = f"lot {run.lot}" if run.lot else ""
    return joined([run.name, run.mold or ""]), joined([blend_words(run.blend), lot])


def blend_words(blend: str | None) -> str:
    """``blend A`` for a blend that is only called A."""
    if not blend:
        return ""
    return blend if blend.lower().startswith("blend") else f"blend {blend}"


def counts(floor: Floor) -> str:
    """The line beside the title: what the whole floor asks for."""
    alarms = sum(lane.alarms_open for lane in floor.lanes)
    silent = sum(lane.activity == "silent" for lane in floor.lanes)
    discs = sum(lane.hold.discs for lane in floor.lanes)
    calm = not alarms and not silent and not any(lane.hold.intervals for lane in floor.lanes)
    parts = [
        "nothing needs a look" if calm else "",
        f"{alarms} need{'s' if alarms == 1 else ''} a look" if alarms else "",
        f"{silent} silent" if silent else "",
        f"{discs:,} disc{'s' if discs != 1 else ''} on hold" if discs else "",
        f"{floor.gaugings_due:,} gauging{'s' if floor.gaugings_due != 1 else ''} due now"
        if floor.gaugings_due
        else "",
    ]
    return joined(parts)


def stale_words(floor: Floor, local: Local) -> str:
    """What to say when the collector has stopped, or what it says of itself; empty while all is well."""
    if floor.collector_silent_for is None:
        return f"{floor.service_alarm}." if floor.service_alarm else ""
    if floor.collector_seen_at is None:
        return "The collector has not run yet: no shot can arrive."
    seen = clock_time(floor.collector_seen_at, floor.now, local)
    if floor.store_problem is not None:
        return f"The database takes nothing in (see Service): nothing here is newer than {seen}."
    return f"The collector has stopped: nothing here is newer than {seen}."


def clock_time(moment: datetime, now: datetime, local: Local) -> str:
    """Hour and minute in the shop, with the day when it was not today."""
    there, here = local(moment), local(now)
    return there.strftime("%H:%M") if there.date() == here.date() else there.strftime("%a %H:%M")


def span(length: timedelta) -> str:
    """A length of time in one unit that reads well: ``22 s``, ``34 min``, ``5 h``, ``3 days``."""
    seconds = max(length.total_seconds(), 0.0)
    for limit, unit, size in ((90, "s", 1), (90 * 60, "min", 60), (36 * 3600, "h", 3600)):
        if seconds < limit:
            return f"{seconds / size:.0f} {unit}"
    return f"{seconds / 86400:.0f} days"


def joined(parts: Sequence[str]) -> str:
    """The parts that say something, with a middle dot between."""
    return " · ".join(part for part in parts if part)
