"""Saying why counters are missing: a gap that nothing will fill any more is closed with its reason."""

from __future__ import annotations

import sqlalchemy as sa

from collector.actions.doer import named
from collector.clock import ServiceClock
from collector.errors import NotAllowed
from collector.store import database, gaps, journal


def close(engine: sa.Engine, gap_id: int, *, who: str, why: str, clock: ServiceClock) -> None:
    """Close a gap of a press's counter. A shot of it that arrives after all is stored all the same.

    Raises
    ------
    NotAllowed
        Nobody or no reason is named, there is no such gap, or it is closed.
    """
    named(who)
    if not why.strip():
        raise NotAllowed("give the reason in a few words, such as dry cycles without a disc")
    with database.write(engine) as conn:
        gap, now = gaps.by_id(conn, gap_id), clock.now()
        if gap is None:
            raise NotAllowed(f"there is no gap {gap_id}; `evenrun gaps` lists them")
        if gap.closed_at is not None:
            raise NotAllowed(f"gap {gap_id} is closed already: {gap.why or 'its shots arrived late'}")
        gaps.close(conn, gap_id, at=now, who=str(who), why=why.strip())
        journal.append(
            conn, at=now, wall_at=clock.wall(), who=who, action="gap closed", subject=f"gap {gap_id}",
            before={"press": gap.press, "missing": gap.missing},
            after={"after_counter": gap.after_counter, "before_counter": gap.before_counter}, why=why.strip(),
        )
