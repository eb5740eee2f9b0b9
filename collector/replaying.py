"""Messages that were refused, taken again after a mapping or a setting was mended."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256
from typing import Any

import sqlalchemy as sa

from collector.clock import wall_now
from collector.pipeline import Pipeline
from collector.sources.incoming import Incoming
from collector.store import database, refusals

__all__ = ["Replayed", "replay_refused"]


@dataclass(frozen=True, slots=True)
class Replayed:
    """How many kept messages read now, how many still do not, and how many rows of files were left."""

    taken: int = 0
    still_refused: int = 0
    rows_of_files: int = 0


def replay_refused(
    engine: sa.Engine,
    pipeline: Pipeline,
    *,
    source: str | None = None,
    wall: Callable[[], datetime] = wall_now,
) -> Replayed:
    """Take the kept messages again, oldest first, each in a transaction of its own.

    A message that is known already counts as taken. One that is refused again stays as it was kept. A crash
    between taking and marking does no harm: the next replay finds the shot known.

    Parameters
    ----------
    engine : Engine
        An upgraded store.
    pipeline : Pipeline
        With the settings as they are now.
    source : str, optional
        Only what came from here.
    wall : callable
        Wall time, for the mark.

    Raises
    ------
    StoreUnavailable
        What was taken before is marked; replay again later.
    """
    with database.read(engine) as conn:
        rows = refusals.kept(conn, source=source)
    messages = [row for row in rows if row.topic is not None]
    taken = 0
    for row in messages:
        if _reads(pipeline, row):
            with database.write(engine) as conn:
                refusals.mark_replayed(conn, row.id, at=wall())
            taken += 1
    return Replayed(taken, len(messages) - taken, len(rows) - len(messages))


def _reads(pipeline: Pipeline, row: sa.Row[*tuple[Any, ...]]) -> bool:
    digest = sha256(row.raw)
    if digest.digest() != row.raw_digest:
        return False  # only its beginning was kept
    # The pipeline adds this mark to a message that reads but cannot be digested; it must not add it twice.
    position = row.position.removesuffix(f"#{digest.hexdigest()[:12]}")
    return pipeline.take([Incoming(row.topic, row.raw, row.source, position)]).refused == 0
