"""Gaugings of a run, and the levels of comparable runs, as evidence."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import pandas as pd
import sqlalchemy as sa

from collector.settings import Tolerance
from collector.store import shots as stored
from collector.store.archives import archived_runs
from collector.store.tables import gaugings, holds, runs
from dashboard.audit.facts import GaugingFact, OtherRun
from dashboard.audit.levels import level_of
from dashboard.audit.shot_list import ShotList

MOST_OTHERS = 8


def gauged(conn: sa.Connection, run_id: int, shot_list: ShotList) -> tuple[GaugingFact, ...]:
    """Gaugings that count, in the order in which they came."""
    query = sa.select(gaugings).where(gaugings.c.run_id == run_id, gaugings.c.withdrawn_at.is_(None))
    return tuple(
        GaugingFact(
            characteristic=row.characteristic, value=row.value, unit=row.unit, age_h=row.age_h,
            gauged_at=row.gauged_at, place=shot_list.place(row.shot_id), joined_by=row.joined_by,
            order_offset=row.order_offset, gauge=row.gauge, definition=row.definition, who=row.who,
            source=row.source, disc_mark=row.disc_mark,
        )
        for row in conn.execute(query.order_by(gaugings.c.id))
    )  # fmt: skip


def withdrawn(conn: sa.Connection, run_id: int) -> int:
    """How many gaugings of the run were undone on the form."""
    undone = (gaugings.c.run_id == run_id, gaugings.c.withdrawn_at.is_not(None))
    query = sa.select(sa.func.count()).where(*undone)
    return conn.execute(query).scalar_one()


def unjoined(conn: sa.Connection, run_name: str) -> int:
    """How many gaugings name the run and have not found their disc."""
    query = sa.select(sa.func.count()).where(
        gaugings.c.run_name == run_name, gaugings.c.shot_id.is_(None), gaugings.c.withdrawn_at.is_(None)
    )
    return conn.execute(query).scalar_one()


def tolerances(
    settings: Mapping[str, Mapping[str, Tolerance]], mold: str | None
) -> dict[str, tuple[float | None, float | None]]:
    """Lowest and highest allowed value of each disc characteristic of the mold that has any."""
    named = settings.get(mold or "", {})
    return {
        key: (each.low, each.high)
        for key, each in sorted(named.items())
        if each.low is not None or each.high is not None
    }


def others(
    conn: sa.Connection, run: sa.Row[Any], keys: Sequence[str], left_out: Iterable[str]
) -> tuple[OtherRun, ...]:
    """Closed runs of the same press and context, the nearest in time, oldest first."""
    query = _alike(run, left_out).where(runs.c.id.not_in(archived_runs()))
    nearest = sorted(conn.execute(query), key=lambda row: (abs(row.opened_at - run.opened_at), row.id))
    kept = sorted(nearest[:MOST_OTHERS], key=lambda row: (row.opened_at, row.id))
    return tuple(_other(conn, row, keys) for row in kept)


def archived_alike(conn: sa.Connection, run: sa.Row[Any], left_out: Iterable[str]) -> tuple[str, ...]:
    """Names of the runs like it whose values are in the archive, oldest first."""
    query = _alike(run, left_out).where(runs.c.id.in_(archived_runs()))
    rows = sorted(conn.execute(query), key=lambda row: (row.opened_at, row.id))
    return tuple(row.name for row in rows)


def _alike(run: sa.Row[Any], left_out: Iterable[str]) -> sa.Select[Any]:
    same = (runs.c.mold, runs.c.blend, runs.c.color, runs.c.recipe_id)
    return sa.select(runs).where(
        runs.c.press_id == run.press_id, runs.c.id != run.id, runs.c.closed_at.is_not(None),
        runs.c.name.not_in(list(left_out)), runs.c.trial.is_not(True),  # a trial was never charted
        *(column.is_not_distinct_from(getattr(run, column.name)) for column in same),
    )  # fmt: skip


def _other(conn: sa.Connection, row: sa.Row[Any], keys: Sequence[str]) -> OtherRun:
    frame = stored.values(conn, run_id=row.id, keys=list(keys), phases=("baseline", "charted"))
    scrapped = sa.select(sa.func.count()).where(
        holds.c.run_id == row.id,
        sa.or_(holds.c.state == "scrapped", sa.and_(holds.c.state == "sorted", holds.c.bad_discs > 0)),
    )
    discs = pd.DataFrame(
        conn.execute(
            sa.select(gaugings.c.characteristic, gaugings.c.value).where(
                gaugings.c.run_id == row.id, gaugings.c.withdrawn_at.is_(None)
            )
        ).all(),
        columns=["characteristic", "value"],
    )
    return OtherRun(
        name=row.name, opened_at=row.opened_at, lot=row.lot, shots=len(frame),
        signaled=int(frame["signaled"].sum()), scrapped=conn.execute(scrapped).scalar_one() > 0,
        levels=tuple(level for key in keys if (level := level_of(key, frame[key]))),
        discs=tuple(
            level
            for key, values in sorted(discs.groupby("characteristic")["value"])
            if (level := level_of(str(key), values))
        ),
    )  # fmt: skip
