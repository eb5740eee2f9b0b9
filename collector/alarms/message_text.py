"""What a person reads on a phone: press and headline, since when, what to hold, what to look at first."""

from __future__ import annotations

import json
from zoneinfo import ZoneInfo

import sqlalchemy as sa

from collector.alarms.causes import to_name
from collector.alarms.escalation import Reason
from collector.alarms.extent_words import extent_words
from collector.alarms.headline import since
from collector.store import holds as hold_store
from collector.store.notices import Asking
from collector.store.tables import shots

_AGAIN = {"new": "", "grew": " (grew)", "again": " (nobody has it yet)"}


def alarm_message(conn: sa.Connection, alarm: Asking, reason: Reason, zone: ZoneInfo) -> str:
    """Title and body as the JSON that a channel to people takes; times in the shop's zone."""
    title = f"{alarm.press or 'Service'}: {alarm.headline}{_AGAIN[reason]}"
    parts = [_began(conn, alarm, zone), _hold(conn, alarm), _look(alarm)]
    end = "Information only: it changes nothing at a press. Acknowledge it on the Alarms page."
    return message(title, " ".join([*filter(None, parts), end]))


def message(title: str, body: str) -> str:
    """A title and a body as the JSON that a channel to people takes."""
    return json.dumps({"title": title, "body": body}, ensure_ascii=False)


def _began(conn: sa.Connection, alarm: Asking, zone: ZoneInfo) -> str:
    if alarm.change_shot_id is None:
        return f"Since {alarm.opened_at.astimezone(zone):%a %H:%M}."
    row = conn.execute(
        sa.select(shots.c.counter, shots.c.ended_at).where(shots.c.id == alarm.change_shot_id)
    ).one()
    words = since(row.counter, row.ended_at, zone)
    return f"{words[:1].upper()}{words[1:]}."


def _hold(conn: sa.Connection, alarm: Asking) -> str:
    """What to set aside; the newest open hold of the alarm."""
    mine = [one for one in hold_store.of_alarm(conn, alarm.id) if one.state == hold_store.OPEN]
    if not mine:
        return ""
    hold = mine[-1]
    inside = hold_store.extent(
        conn, press_id=hold.press_id, from_shot_id=hold.from_shot_id, to_shot_id=hold.to_shot_id
    )
    return f"Hold {extent_words(inside)}."


def _look(alarm: Asking) -> str:
    cause = to_name(alarm.causes)
    return "" if cause is None else f"Often seen with: {cause}."
