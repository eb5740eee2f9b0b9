"""How a disc, its age and the reason to gauge it are said. Pure."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta

from collector.gauging.age import is_after_window, set_time_h, standing
from collector.gauging.proposal import Why
from dashboard.queries.gauging import ToGauge

# The mark beside each reason: a square asks a person to act, a circle is routine.
WHY = {
    Why.EDGE: ("square", "Edge of a hold: shows where it really ends"),
    Why.HOLD: ("square", "On hold"),
    Why.CONTROL: ("circle", "Control: one disc a tray"),
}
CHOSEN = ("circle", "Chosen by hand")


def reason(disc: ToGauge) -> tuple[str, str]:
    """Mark and words of why a disc is shown."""
    return CHOSEN if disc.why is None else WHY[disc.why]


def place(tray: str | None, position: int | None, counter: int | None = None) -> str:
    """Where a disc lies: ``Tray 41, position 3``; its shot when no tray is known."""
    if tray is None:
        return "Disc without a number" if counter is None else f"Shot {counter:,}"
    return f"Tray {tray}" if position is None else f"Tray {tray}, position {position}"


def origin(disc: ToGauge, now: datetime) -> str:
    """Where a disc comes from and how old it is."""
    return joined((
        disc.press,
        f"shot {disc.counter:,}" if disc.counter is not None and disc.tray is not None else None,
        disc.mold,
        age_words(disc.age_h(now)),
    ))  # fmt: skip


def age_words(age_h: float | None) -> str:
    """Age since molding, in minutes, hours or days."""
    if age_h is None:
        return "molded at an unknown time"
    if age_h < 1:
        return f"molded {age_h * 60:.0f} min ago"
    return f"molded {age_h:.0f} h ago" if age_h < 96 else f"molded {age_h / 24:.0f} days ago"


def wait_words(wait: timedelta) -> str:
    """How long until something: minutes below two hours, hours above."""
    minutes = max(wait / timedelta(minutes=1), 0)
    return f"{minutes:.0f} min" if minutes < 120 else f"{minutes / 60:.0f} h"


def age_caution(disc: ToGauge, characteristic: str, now: datetime) -> str | None:
    """What the age of a disc means for a reading taken now; None when it is as usual."""
    age_h = disc.age_h(now)
    needed = set_time_h(characteristic)
    match standing(characteristic, age_h):
        case "provisional":
            return f"Younger than its set time of {needed:.0f} h: a reading now counts as provisional."
        case "unknown":
            return "Nobody knows when this disc was molded: its reading is kept apart from final ones."
        case _ if is_after_window(characteristic, age_h):
            return "Older than the usual 24 to 72 h: the reading compares less well with others."
    return None


def joined(parts: Iterable[str | None]) -> str:
    """Parts that are known, with a dot in between."""
    return " \u00b7 ".join(part for part in parts if part)
