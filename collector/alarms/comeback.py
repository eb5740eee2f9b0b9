"""Whether quiet shots show that the process came back, or only that the charts began anew.

After a restart a chart has forgotten what it had gathered: it needs shots before it can signal a lasting
change again, so that a few quiet ones prove nothing. Then the values themselves are asked: whether they lie
nearer to the level before the change than to the level it went to.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import sqlalchemy as sa

from collector.alarms.lifecycle import CLEAR_AFTER_SHOTS
from collector.alarms.model import Moved, ShotVerdict
from collector.alarms.working import Over, Working
from collector.store import places
from collector.store.tables import shots

# A CUSUM with k = 0.5 and h = 8 sees a lasting shift of one sigma again after about h / (1 - k) = 16 shots.
CERTAIN_AFTER_SHOTS = 20


def over(
    conn: sa.Connection, press_id: int, since_shot_id: int | None, alarm: Working, verdict: ShotVerdict
) -> Over:
    """Whether an alarm's quiet shots up to this one show that its condition is over.

    Parameters
    ----------
    conn : Connection
    press_id : int
    since_shot_id : int or None
        First shot since all charts of the press last began anew.
    alarm : Working
        With `CLEAR_AFTER_SHOTS` quiet shots or more.
    verdict : ShotVerdict
        Of the newest of them.
    """
    signaled = alarm.may_be_last()
    if since_shot_id is None or since_shot_id in signaled or not signaled:
        return Over(is_over=True)
    if places.last(conn, {since_shot_id, *signaled}) != since_shot_id:
        return Over(is_over=True)
    if not still_out(conn, press_id, alarm.moved.values(), until_shot_id=verdict.shot_id):
        return Over(is_over=True, note="the charts began anew since its last signal, and the values are back")
    note = (
        f"no signal in {alarm.quiet_shots} shots since the charts began anew, "
        "though the values stay where they went"
    )
    return Over(is_over=alarm.quiet_shots >= CERTAIN_AFTER_SHOTS, note=note)


def still_out(conn: sa.Connection, press_id: int, moved: Iterable[Moved], *, until_shot_id: int) -> bool:
    """Whether the newest values of a lasting change lie nearer to where it went than to where it came from.

    Parameters
    ----------
    conn : Connection
    press_id : int
    moved : iterable of Moved
        What moved; single bad shots, and what has no level, say nothing.
    until_shot_id : int
        Newest shot to look at; the mean of the last `CLEAR_AFTER_SHOTS` charted ones is compared.

    Returns
    -------
    bool
        True when any characteristic is still out.
    """
    lasting = [item for item in moved if not item.single and None not in (item.before, item.after)]
    if not lasting:
        return False
    newest = (
        sa.select(shots.c.characteristics)
        .where(shots.c.press_id == press_id, shots.c.id <= until_shot_id, shots.c.phase == "charted")
        .order_by(shots.c.id.desc())
        .limit(CLEAR_AFTER_SHOTS)
    )
    rows = list(conn.execute(newest).scalars())
    return any(nearer_after(item, [row[item.key] for row in rows if item.key in row]) for item in lasting)


def nearer_after(item: Moved, values: list[float]) -> bool:
    """Whether the mean of these values lies nearer to the level after the change than to the one before."""
    if not values or item.before is None or item.after is None:
        return False
    level = float(np.mean(values))
    return abs(level - item.after) < abs(level - item.before)
