"""The shots of a run as evidence: their order, their counts, their digests."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from hashlib import sha256
from typing import Any

import pandas as pd
import sqlalchemy as sa

from collector.contract import quantities, units
from collector.retrace import in_chart_order
from collector.store import shots as stored
from collector.store.tables import shots
from dashboard.audit.facts import ShotFacts
from dashboard.audit.shot_list import ShotList


def read(conn: sa.Connection, run_id: int, keys: Sequence[str]) -> tuple[ShotList, pd.DataFrame]:
    """The shots of a run in the order of the charts, and their values of some keys beside them."""
    frame = in_chart_order(stored.values(conn, run_id=run_id, keys=list(keys)))
    return ShotList(frame.drop(columns=list(keys))), frame[list(keys)]


def facts(conn: sa.Connection, run_id: int, shot_list: ShotList) -> ShotFacts:
    """Counts over the shots, and whether each is still what was stored."""
    frame, n = shot_list.frame, len(shot_list)
    phases = Counter(frame["phase"])
    rows = _marks(conn, run_id)
    broken = {shot_list.place(shot_id) for shot_id in stored.broken_digests(conn, run_id=run_id)}
    return ShotFacts(
        total=n, startup=phases["startup"], baseline=phases["baseline"], charted=phases["charted"],
        signaled=int(frame["signaled"].sum()),
        time_reconstructed=sum(row.time_reconstructed for row in rows),
        without_counter=sum(counter is None for counter in shot_list.counters),
        without_tray=shot_list.without_tray(range(n)), epochs=int(frame["epoch"].nunique()),
        first=shot_list.number(0) if n else "", last=shot_list.number(n - 1) if n else "",
        first_at=frame["ended_at"].iloc[0].to_pydatetime() if n else None,
        last_at=frame["ended_at"].iloc[-1].to_pydatetime() if n else None,
        trays=shot_list.trays(range(n)), sources=tuple(sorted({row.source for row in rows})),
        not_written=dict(sorted(Counter(key for row in rows for key in row.not_written or ()).items())),
        digest=_digest(rows, shot_list),
        broken=tuple(shot_list.number(place) for place in sorted(p for p in broken if p is not None)),
    )  # fmt: skip


def unit_of(conn: sa.Connection, run_id: int, key: str) -> str | None:
    """Canonical unit of a key; an unknown one is in the canonical unit of the kind it was sent in."""
    known = quantities.unit(key)
    if known is not None:
        return known
    sent = sa.select(shots.c.originals).where(shots.c.run_id == run_id, shots.c.originals.is_not(None))
    for originals in conn.execute(sent.order_by(shots.c.id).limit(50)).scalars():
        if key in originals:
            return units.canonical(originals[key][1])
    return None


def _marks(conn: sa.Connection, run_id: int) -> Sequence[Any]:
    columns = (shots.c.id, shots.c.time_reconstructed, shots.c.source, shots.c.not_written, shots.c.digest)
    return conn.execute(sa.select(*columns).where(shots.c.run_id == run_id)).all()


def _digest(rows: Sequence[Any], shot_list: ShotList) -> str:
    """SHA-256 over the stored digests of the shots, in the order of the charts."""
    by_id = {row.id: row.digest for row in rows}
    return sha256(b"".join(by_id[int(shot_id)] for shot_id in shot_list.ids)).hexdigest()
