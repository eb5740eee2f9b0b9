"""Who is on: shifts by weekday and hour in the shop's time zone. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

from collector.settings_delivery import DAYS, MessageChannel, Shift


@dataclass(frozen=True, slots=True)
class Turn:
    """One shift on one day, from when to when; aware, UTC."""

    shift: str
    began_at: datetime
    ended_at: datetime


def turns_between(shifts: Sequence[Shift], since: datetime, until: datetime, zone: ZoneInfo) -> list[Turn]:
    """Turns that end after `since` and not after `until`, oldest first."""
    days = _days(since.astimezone(zone).date() - timedelta(days=1), until.astimezone(zone).date())
    turns = [turn for day in days for shift in shifts if (turn := _turn(shift, day, zone)) is not None]
    return sorted(
        (turn for turn in turns if since < turn.ended_at <= until), key=lambda turn: turn.ended_at
    )


def is_on(shift: Shift, at: datetime, zone: ZoneInfo) -> bool:
    """Whether a moment falls into a shift; its end does not."""
    today = at.astimezone(zone).date()
    turns = (_turn(shift, day, zone) for day in (today - timedelta(days=1), today))
    return any(turn is not None and turn.began_at <= at < turn.ended_at for turn in turns)


def used_now(channel: MessageChannel, shifts: Sequence[Shift], at: datetime, zone: ZoneInfo) -> bool:
    """Whether a channel is used at a moment; one without shifts always is."""
    return not channel.shifts or any(
        is_on(shift, at, zone) for shift in shifts if shift.name in channel.shifts
    )


def _turn(shift: Shift, day: date, zone: ZoneInfo) -> Turn | None:
    """The turn that begins on a day. On the days when clocks change it is an hour shorter or longer."""
    if DAYS[day.weekday()] not in shift.days:
        return None
    last = day if shift.ends > shift.begins else day + timedelta(days=1)
    began = datetime.combine(day, shift.begins, tzinfo=zone).astimezone(UTC)
    ended = datetime.combine(last, shift.ends, tzinfo=zone).astimezone(UTC)
    return Turn(shift.name, began, ended)


def _days(first: date, last: date) -> list[date]:
    return [first + timedelta(days=number) for number in range((last - first).days + 1)]
