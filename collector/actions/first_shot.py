"""A person looks at the first discs of a run and says that they are good, where the settings ask for it.

The press goes on meanwhile: this only keeps the floor screen asking until somebody has answered.
"""

from __future__ import annotations

import sqlalchemy as sa

from collector.clock import ServiceClock
from collector.errors import NotAllowed
from collector.store import database, events, journal
from collector.store.tables import events as events_table
from collector.store.tables import runs, shots

KIND = "first_shot"


def is_approved(conn: sa.Connection, run_id: int) -> bool:
    """Whether a person approved the first shots of a run."""
    e = events_table.c
    said = (
        sa.select(e.id)
        .join(runs, runs.c.press_id == e.press_id)
        .join(shots, shots.c.id == e.shot_id)
        .where(runs.c.id == run_id, shots.c.run_id == run_id, e.kind == KIND, e.at >= runs.c.opened_at)
    )
    return conn.execute(said.limit(1)).first() is not None


def approve_first_shot(
    engine: sa.Engine, run_id: int, *, who: str, clock: ServiceClock, note: str = ""
) -> None:
    """Say that the first discs of a run were looked at and are good.

    Parameters
    ----------
    engine : Engine
    run_id : int
        With a shot at least.
    who : str
        Who looked.
    clock : ServiceClock
    note : str
        What was looked at.

    Raises
    ------
    NotAllowed
        Nobody is named, the run has no shot or is approved already.
    """
    if not who.strip():
        raise NotAllowed("approving the first shot needs a name; say who looked at the disc")
    with database.write(engine) as conn:
        run = conn.execute(sa.select(runs.c.press_id, runs.c.name).where(runs.c.id == run_id)).one_or_none()
        newest = conn.execute(sa.select(sa.func.max(shots.c.id)).where(shots.c.run_id == run_id)).scalar()
        if run is None or newest is None:
            raise NotAllowed("this run has no shot yet; look at its first disc when there is one")
        if is_approved(conn, run_id):
            raise NotAllowed(f"the first shot of {run.name} is approved already")
        now = clock.now()
        event = events.row(
            run.press_id, KIND, at=now, source=str(who), shot_id=newest, new=run.name, note=note or None
        )
        events.insert(conn, [event])
        journal.append(
            conn, at=now, wall_at=clock.wall(), who=who, action="first shot approved",
            subject=f"run {run.name}", why=note or None, after={"shot": newest},
        )  # fmt: skip
