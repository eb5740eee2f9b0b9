"""What a process heard of each press and connection, and for how long not: the memory that silence rests on.

Counted by a clock that only runs forward, from what arrives in the store; so neither a press's clock nor ours
can make a press silent by being set. A process that begins to listen knows nothing yet.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import sqlalchemy as sa

from collector.alarms.silence import PressFacts
from collector.store.tables import presses, runs, shots


@dataclass(slots=True)
class _Heard:
    """Newest shot of a press, when it was first seen here (monotonic), whether we had listened before."""

    shot_id: int | None
    at_s: float
    live: bool


@dataclass(slots=True)
class Ears:
    """What one process has heard so far."""

    _presses: dict[int, _Heard] = field(default_factory=dict)
    _gone_since_s: dict[str, float] = field(default_factory=dict)

    def listen(self, newest: Mapping[int, int | None], *, at_s: float) -> None:
        """Note the newest shot of each press at a moment of the monotonic clock."""
        for press_id, shot_id in newest.items():
            known = self._presses.get(press_id)
            if known is None:
                self._presses[press_id] = _Heard(shot_id, at_s, live=False)
            elif known.shot_id != shot_id:
                self._presses[press_id] = _Heard(shot_id, at_s, live=True)

    def start_over(self, *, at_s: float) -> None:
        """Nothing could be heard until now, so nothing was silent."""
        for each in self._presses.values():
            each.at_s, each.live = at_s, False

    def quiet_s(self, press_id: int, *, at_s: float) -> tuple[float, bool]:
        """Seconds since a shot of a press was heard, or since we listen; and whether any was heard."""
        known = self._presses[press_id]
        return at_s - known.at_s, known.live

    def away_s(self, what: str, problem: str | None, *, at_s: float) -> float:
        """For how many seconds a connection has had a problem; once it is back, how long it had been away."""
        since_s = self._gone_since_s.setdefault(what, at_s)
        if problem is None:
            del self._gone_since_s[what]
        return at_s - since_s


def press_facts(conn: sa.Connection, site: str, ears: Ears, *, at_s: float, speed: float) -> list[PressFacts]:
    """Listen, and tell what is known of every press of a site.

    Parameters
    ----------
    conn : Connection
    site : str
    ears : Ears
    at_s : float
        The monotonic clock, s.
    speed : float
        Floor seconds a wall second.
    """
    rows = conn.execute(_PRESSES, {"site": site}).all()
    ears.listen({row.id: row.newest for row in rows}, at_s=at_s)
    found = []
    for row in rows:
        quiet_s, heard = ears.quiet_s(row.id, at_s=at_s)
        found.append(
            PressFacts(
                id=row.id, name=row.name, state=row.state,
                running=bool(row.running) and row.heard_at is not None, usual_cycle_s=row.usual_cycle_s,
                quiet_s=quiet_s * speed, heard=heard,
            )
        )  # fmt: skip
    return found


_PRESSES = sa.select(
    presses.c.id,
    presses.c.name,
    presses.c.state,
    presses.c.usual_cycle_s,
    presses.c.heard_at,
    sa.select(sa.func.max(shots.c.id))
    .where(shots.c.press_id == presses.c.id)
    .correlate(presses)
    .scalar_subquery()
    .label("newest"),
    sa.exists()
    .where(runs.c.press_id == presses.c.id, runs.c.closed_at.is_(None))
    .correlate(presses)
    .label("running"),
).where(presses.c.site == sa.bindparam("site"))
