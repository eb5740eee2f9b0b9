"""What a store holds against what was sent, and its signals against the whole-array form of the charts.

The truth is outside of what is tested: the list of shots that were published. The whole-array form reads the
values as they stand in the store (`collector.retrace`).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import sqlalchemy as sa

from collector.retrace import retrace
from collector.store.tables import events, presses, refusals, runs, shots, signals
from simulator.records import SimShot

ROUNDED = 0.02  # a gateway that sends bar or degF rounds to two decimals

Name = tuple[str, int]


@dataclass(frozen=True)
class Found:
    """What became of the shots that were sent.

    Attributes
    ----------
    missing : set of (press, counter)
        Not in the store.
    unnoticed : set of (press, counter)
        Those of them that no gap of the press's counter covers.
    doubled : int
        Rows too many.
    bent : int
        Shots with another value than was sent.
    refused : int
        Messages that wait among the refusals.
    """

    missing: frozenset[Name]
    unnoticed: frozenset[Name]
    doubled: int
    bent: int
    refused: int


def compare(conn: sa.Connection, sent: Sequence[SimShot]) -> Found:
    """Hold the store against the list of shots."""
    query = sa.select(presses.c.name, shots.c.counter, shots.c.characteristics).join(
        presses, presses.c.id == shots.c.press_id
    )
    rows = [(row[0], row[1], row[2]) for row in conn.execute(query)]
    count = Counter((press, counter) for press, counter, _ in rows)
    values = {(press, counter): stored for press, counter, stored in rows}
    missing = frozenset((shot.press, shot.counter) for shot in sent) - frozenset(count)
    return Found(
        missing=missing,
        unnoticed=frozenset(name for name in missing if name not in _gaps(conn)),
        doubled=len(rows) - len(count),
        bent=sum(_is_bent(values.get((shot.press, shot.counter)), shot) for shot in sent),
        refused=conn.execute(
            sa.select(sa.func.count()).select_from(refusals).where(refusals.c.state == "kept")
        ).scalar_one(),
    )


def _gaps(conn: sa.Connection) -> frozenset[Name]:
    """Counters that the service itself says are missing."""
    query = (
        sa.select(presses.c.name, events.c.old, events.c.new)
        .join(presses, presses.c.id == events.c.press_id)
        .where(events.c.kind == "gap")
    )
    return frozenset(
        (press, counter)
        for press, before, after in conn.execute(query)
        for counter in range(before + 1, after)
    )


def _is_bent(stored: dict[str, float] | None, shot: SimShot) -> bool:
    if stored is None:
        return False  # missing, which is counted on its own
    return stored.keys() != shot.values.keys() or any(
        abs(stored[key] - value) > ROUNDED for key, value in shot.values.items()
    )


def differences(conn: sa.Connection) -> tuple[list[str], int]:
    """Signals that the stream and the whole-array form do not share or put elsewhere, and how many agree."""
    wrong, compared = [], 0
    for run_id in conn.execute(sa.select(runs.c.id)).scalars().all():
        expected = {}
        for piece in retrace(conn, run_id):
            for chart, track in zip(piece.limits.charts, piece.tracks, strict=True):
                for index, rule in track.signals:
                    name = (int(piece.shot_ids[index]), piece.key, chart.name, rule)
                    expected[name] = float(track.share[index])
        actual = _streamed(conn, run_id)
        wrong += [f"only streaming {name}" for name in actual.keys() - expected.keys()]
        wrong += [f"only whole-array {name}" for name in expected.keys() - actual.keys()]
        common = actual.keys() & expected.keys()
        wrong += [
            f"share of {name}"
            for name in common
            if abs(actual[name] - expected[name]) > 1e-9 * max(1, expected[name])
        ]
        compared += len(common)
    return wrong, compared


def _streamed(conn: sa.Connection, run_id: int) -> dict[tuple[int, str, str, str], float]:
    c = signals.c
    rows = conn.execute(
        sa.select(c.shot_id, c.key, c.chart, c.rule, c.share)
        .join(shots, shots.c.id == c.shot_id)
        .where(shots.c.run_id == run_id, c.kind == "chart", c.withdrawn.is_(False))
    )
    return {(row.shot_id, row.key, row.chart, row.rule): row.share for row in rows}
