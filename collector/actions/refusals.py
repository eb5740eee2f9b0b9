"""What a person may do about what was refused: take it again, or put aside what nobody can read."""

from __future__ import annotations

from collections.abc import Sequence

import sqlalchemy as sa

from collector.actions.doer import named
from collector.clock import ServiceClock
from collector.errors import NotAllowed
from collector.pipeline import Pipeline, engine_policy, intake_policy
from collector.replaying import Replayed, replay_refused
from collector.settings import Settings
from collector.store import journal, refusals
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


def put_aside(
    engine: sa.Engine,
    *,
    numbers: Sequence[int] | None = None,
    source: str | None = None,
    who: str,
    why: str,
    clock: ServiceClock,
) -> int:
    """Have refusals wait no more: some by their numbers, or all of a source. They stay in the store.

    Returns
    -------
    int
        How many.

    Raises
    ------
    NotAllowed
        Nobody or no reason is named, `who` may not do it, or one of them does not wait.
    """
    named(who)
    if not why.strip():
        raise NotAllowed("give the reason in a few words, such as totals that nobody needs")
    if numbers is None and source is None:
        raise NotAllowed("say which: numbers as listed, or a source")
    with write(engine) as conn:
        done = refusals.put_aside(conn, numbers=numbers, source=source)
        missing = sorted(set(numbers or ()) - set(done))
        if missing:
            raise NotAllowed(
                f"of what was refused, number {', '.join(map(str, missing))} does not wait; "
                "`evenrun refused` lists what does"
            )
        if not done:
            raise NotAllowed(f"nothing that was refused of {source} waits; `evenrun refused` lists what does")
        journal.append(
            conn, at=clock.now(), wall_at=clock.wall(), who=who, action="refusals put aside",
            subject=f"refusal {done[0]}" if len(done) == 1 else f"{len(done)} refusals",
            after={"numbers": done, "source": source}, why=why.strip(),
        )  # fmt: skip
    return len(done)
