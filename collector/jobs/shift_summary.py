"""Twice a minute: a shift that ended gets its summary, kept and told to whoever wants it.

Shifts that ended while no collector ran are made up for, as far back as a week.
"""

from __future__ import annotations

from datetime import timedelta
from zoneinfo import ZoneInfo

from collector.alarms.message_text import message
from collector.alarms.shifts import Turn, turns_between
from collector.jobs.job import Job, Shop
from collector.shift_summary import figures, summary
from collector.store import reports
from collector.store.database import read, write

LOOK_BACK = timedelta(days=7)


def summarize(shop: Shop) -> str | None:
    """Tell of every shift that ended since the last summary; the first time, of the one that ended last."""
    if not shop.settings.shifts:
        return "no shifts are set"
    now, zone = shop.clock.now(), ZoneInfo(shop.settings.time_zone)
    with read(shop.engine) as conn:
        last = reports.last_until(conn, shop.settings.site, reports.SHIFT_SUMMARY)
    since = now - LOOK_BACK if last is None else max(last, now - LOOK_BACK)
    # Two shifts may end at the same minute, hence the margin; what was told already is told no more.
    ended = turns_between(shop.settings.shifts, since - timedelta(seconds=1), now, zone)
    told = [turn for turn in (ended if last is not None else ended[-1:]) if _tell(shop, turn, zone)]
    if not told:
        return None
    shop.deliver_soon()
    return f"summed up {', '.join(_name(turn, zone) for turn in told)}"


def _tell(shop: Shop, turn: Turn, zone: ZoneInfo) -> bool:
    subject = _name(turn, zone)
    with read(shop.engine) as conn:
        if reports.told(conn, shop.settings.site, reports.SHIFT_SUMMARY, subject):
            return False
        text = summary(figures(conn, shop.settings.site, turn.began_at, turn.ended_at))
    to = [one.name for one in shop.settings.channels if "shift_summary" in one.tell]
    with write(shop.engine) as conn:
        return reports.tell(
            conn, shop.settings.site, reports.SHIFT_SUMMARY, subject, text=text, to=to, wall=shop.wall(),
            payload=message(f"Shift {subject}", text), from_at=turn.began_at, until_at=turn.ended_at,
        )  # fmt: skip


def _name(turn: Turn, zone: ZoneInfo) -> str:
    return f"{turn.shift} {turn.began_at.astimezone(zone):%a %Y-%m-%d}"


JOB = Job(name="shift summary", every_s=30.0, work=summarize, of_site=True)
