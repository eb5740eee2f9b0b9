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
from collector.sources.sparkplug.work import SOURCE as SPARKPLUG
from collector.store import database, refusals

__all__ = ["Replayed", "replay_refused"]


@dataclass(frozen=True, slots=True)
class Replayed:
    """How many kept messages read now, how many do not, and how many were left: of files, of edge nodes."""

    taken: int = 0
    still_refused: int = 0
    rows_of_files: int = 0
    of_edge_nodes: int = 0


def replay_refused(
    engine: sa.Engine,
    pipeline: Pipeline,
    *,
    source: str | None = None,
    wall: Callable[[], datetime] = wall_now,
) -> Replayed:
    """Take the kept messages again, oldest first, each in a transaction of its own.

    Messages of edge nodes (Sparkplug B) are left: one says only what had changed since the message before,
    under numbers that the births of that session gave names to, and both are gone.

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
    of_edge_nodes = sum(row.source == SPARKPLUG for row in rows)
    messages = [row for row in rows if row.topic is not None and row.source != SPARKPLUG]
    taken = 0
    for row in messages:
        if _reads(pipeline, row):
            with database.write(engine) as conn:
                refusals.mark_replayed(conn, row.id, at=wall())
            taken += 1
    of_files = len(rows) - len(messages) - of_edge_nodes
    return Replayed(taken, len(messages) - taken, of_files, of_edge_nodes)


def _reads(pipeline: Pipeline, row: sa.Row[*tuple[Any, ...]]) -> bool:
    digest = sha256(row.raw)
    if digest.digest() != row.raw_digest:
        return False  # only its beginning was kept
    # The pipeline adds this mark to a message that reads but cannot be digested; it must not add it twice.
    position = row.position.removesuffix(f"#{digest.hexdigest()[:12]}")
    return pipeline.take([Incoming(row.topic, row.raw, row.source, position)]).refused == 0
