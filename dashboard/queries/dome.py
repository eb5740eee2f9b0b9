"""Readings of discs beside their shots: what was flagged, what is old enough, what is left out and why."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import pandas as pd
import sqlalchemy as sa
from sqlalchemy.engine import Connection

from collector.contract import quantities
from collector.gauging.age import is_after_window, standing
from collector.settings import Tolerance
from collector.store.tables import gaugings, presses, runs, shots
from dashboard.queries.dome_flags import chunks, flagged

_COLUMNS = {
    "gauging_id": gaugings.c.id, "value": gaugings.c.value, "unit": gaugings.c.unit,
    "gauged_at": gaugings.c.gauged_at, "age_h": gaugings.c.age_h, "joined_by": gaugings.c.joined_by,
    "shot_id": gaugings.c.shot_id, "press_id": gaugings.c.press_id, "run_id": gaugings.c.run_id,
    "press": presses.c.name, "run": runs.c.name, "mold": runs.c.mold, "counter": shots.c.counter,
    "tray": gaugings.c.tray, "tray_position": gaugings.c.tray_position, "ended_at": shots.c.ended_at,
    "signaled": shots.c.signaled,
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Scope:
    """Which gaugings a question is about; None leaves a side open.

    `since` and `until` bound the time of gauging; a gauging without a time is never bounded.
    """

    characteristic: str
    press: str | None = None
    mold: str | None = None
    run: str | None = None
    since: datetime | None = None
    until: datetime | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Readings:
    """What was gauged.

    Attributes
    ----------
    discs : DataFrame
        One row a disc with a final reading (the mean where it was gauged more than once): value, press,
        run, run_id, mold, counter, tray, tray_position, ended_at, gauged_at, age_h, signaled, on_hold,
        lead_h (hours from the flag to the gauging), late (gauged after the usual ages).
    apart : DataFrame
        One row a reading that is left out, with its `reason`.
    """

    discs: pd.DataFrame
    apart: pd.DataFrame


def characteristics(conn: Connection) -> list[str]:
    """Characteristics that were ever gauged, in the order of the table of quantities, unknown ones last."""
    found = set(conn.execute(sa.select(gaugings.c.characteristic).distinct()).scalars())
    known = [row.key for row in quantities.QUANTITIES if row.key in found]
    return known + sorted(found.difference(known))


def unit_of(conn: Connection, characteristic: str) -> str:
    """Unit of a characteristic: the table's, or the one its last gauging came in."""
    known = quantities.unit(characteristic)
    if known is not None:
        return known
    query = sa.select(gaugings.c.unit).where(gaugings.c.characteristic == characteristic)
    found: str | None = conn.execute(query.order_by(gaugings.c.id.desc()).limit(1)).scalar()
    return found or ""


def choices(conn: Connection, characteristic: str) -> pd.DataFrame:
    """Press, mold and run of everything gauged, newest run first: what the filters offer."""
    query = (
        sa.select(presses.c.name.label("press"), runs.c.mold, runs.c.name.label("run"))
        .select_from(_joined())
        .where(gaugings.c.characteristic == characteristic, gaugings.c.run_id.is_not(None))
        .distinct()
        .order_by(runs.c.id.desc())
        .add_columns(runs.c.id)
    )
    return pd.DataFrame(conn.execute(query).mappings().all(), columns=["press", "mold", "run", "id"])


def readings(conn: Connection, scope: Scope) -> Readings:
    """Read the gaugings of a scope and sort out which of them can be compared."""
    query = sa.select(*(column.label(name) for name, column in _COLUMNS.items())).select_from(_joined())
    rows = conn.execute(query.where(*_conditions(scope)).order_by(gaugings.c.id)).mappings().all()
    frame = pd.DataFrame(rows, columns=list(_COLUMNS))
    frame["reason"] = [_left_out(scope.characteristic, row) for row in rows]
    final = frame[frame["reason"] == ""].drop(columns="reason")
    discs = flagged(conn, _one_a_disc(final))
    discs["late"] = [is_after_window(scope.characteristic, _known(age)) for age in discs["age_h"]]
    return Readings(discs=discs, apart=frame[frame["reason"] != ""].reset_index(drop=True))


def shot_columns(conn: Connection, shot_ids: Sequence[int]) -> pd.DataFrame:
    """What the shots of these discs measured: one column a characteristic, in the order asked for."""
    found: dict[int, dict[str, float]] = {}
    for ids in chunks(shot_ids):
        query = sa.select(shots.c.id, shots.c.characteristics).where(shots.c.id.in_(ids))
        found |= {row.id: row.characteristics for row in conn.execute(query)}
    return pd.DataFrame([found.get(shot_id, {}) for shot_id in shot_ids])


def tolerance_of(
    tolerances: Mapping[str, Mapping[str, Tolerance]], mold: str | None, characteristic: str
) -> Tolerance | None:
    """The tolerance of a mold's characteristic, None when none is set."""
    found = tolerances.get(mold or "", {}).get(characteristic)
    return None if found is None or (found.low is None and found.high is None) else found


def _joined() -> sa.FromClause:
    return (
        gaugings.outerjoin(shots, shots.c.id == gaugings.c.shot_id)
        .outerjoin(presses, presses.c.id == gaugings.c.press_id)
        .outerjoin(runs, runs.c.id == gaugings.c.run_id)
    )


def _conditions(scope: Scope) -> list[sa.ColumnElement[bool]]:
    when = gaugings.c.gauged_at
    where = [gaugings.c.characteristic == scope.characteristic, gaugings.c.withdrawn_at.is_(None)]
    named = ((presses.c.name, scope.press), (runs.c.mold, scope.mold), (runs.c.name, scope.run))
    where += [column == name for column, name in named if name is not None]
    if scope.since is not None:
        where.append(sa.or_(when.is_(None), when >= scope.since))
    if scope.until is not None:
        where.append(sa.or_(when.is_(None), when < scope.until))
    return where


def _left_out(characteristic: str, row: sa.RowMapping) -> str:
    """Why a reading cannot be compared; empty when it can."""
    if row["shot_id"] is None:
        return "waits for its shot" if row["joined_by"] is None else "names a tray, no single disc"
    return {"provisional": "gauged before its set time", "unknown": "age not known", "final": ""}[
        standing(characteristic, row["age_h"])
    ]


def _one_a_disc(frame: pd.DataFrame) -> pd.DataFrame:
    """Several readings of a disc count once, by their mean, at the time of the last."""
    last = frame.drop_duplicates("shot_id", keep="last").sort_values("shot_id").reset_index(drop=True)
    means = frame.groupby("shot_id")["value"].mean()
    return last.assign(value=last["shot_id"].map(means).astype(float))


def _known(age: Any) -> float | None:
    return None if pd.isna(age) else float(age)
