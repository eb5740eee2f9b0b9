"""Taking refused messages again, asked for by a person."""

from __future__ import annotations

import sqlalchemy as sa

from collector.actions.doer import named
from collector.clock import ServiceClock
from collector.pipeline import Pipeline, engine_policy, intake_policy
from collector.replaying import Replayed, replay_refused
from collector.settings import Settings
from collector.store import journal
from collector.store.database import write


def replay(engine: sa.Engine, settings: Settings, *, who: str, clock: ServiceClock) -> Replayed:
    """Take every kept message again with the settings as they are now; rows of files are left alone.

    Raises
    ------
    NotAllowed
        Nobody is named, or may not do it.
    StoreUnavailable
        What was taken before is marked; ask again later.
    """
    named(who)
    with write(engine) as conn:
        journal.append(
            conn, at=clock.now(), wall_at=clock.wall(), who=who, action="refusals replayed",
            subject="refused messages",
        )  # fmt: skip
    pipeline = Pipeline(
        engine, policy=engine_policy(settings), intake=intake_policy(settings), clock=clock
    )
    return replay_refused(engine, pipeline, wall=clock.wall)
