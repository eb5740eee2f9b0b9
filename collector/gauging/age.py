"""How old a disc was when it was gauged, and whether that was old enough."""

from __future__ import annotations

from datetime import datetime, timedelta

from collector.contract import quantities
from collector.gauging.model import Disc, Standing

# The clocks of a press and of a gauge may differ by so much before "gauged before it was made" is believed.
CLOCK_SLACK = timedelta(minutes=2)

# Usual ages for dome, h. Common practice, no source: shrinkage goes on for days, slower and slower.
USUAL_DOME_AGE_H = (24.0, 72.0)


def age_h(gauged_at: datetime | None, disc: Disc | None) -> float | None:
    """Hours from the end of the shot to the gauging.

    Returns
    -------
    float or None
        None when a time is not known or was only computed, or when the disc would be older than its shot.
    """
    if gauged_at is None or disc is None or disc.time_reconstructed:
        return None
    age = gauged_at - disc.ended_at
    return None if age < -CLOCK_SLACK else max(age / timedelta(hours=1), 0.0)


def set_time_h(characteristic: str) -> float:
    """Age from which a reading of this characteristic is final, h; at once for an unknown one."""
    quantity = quantities.find(characteristic)
    return 0.0 if quantity is None else quantity.set_time_h


def standing(characteristic: str, age: float | None) -> Standing:
    """Whether a reading at this age (h) is final, provisional, or nobody can say."""
    needed = set_time_h(characteristic)
    if needed <= 0:
        return "final"
    if age is None:
        return "unknown"
    return "final" if age >= needed else "provisional"


def is_after_window(characteristic: str, age: float | None) -> bool:
    """Whether a dome was gauged later than is usual, so that it compares less well with others."""
    return characteristic == "dome" and age is not None and age > USUAL_DOME_AGE_H[1]
