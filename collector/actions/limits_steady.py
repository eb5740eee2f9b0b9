"""The steady shots of a run, with what a study must know of them: boundaries, setpoints, the budget.

Reads, and changes nothing.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
import sqlalchemy as sa
from numpy.typing import NDArray

from collector.contract import quantities
from collector.errors import NotAllowed
from collector.retrace import in_chart_order
from collector.store import doubts, runs, shots
from collector.store.tables import events
from collector.store.tables import runs as runs_table
from collector.store.tables import shots as shots_table
from collector.verdict import DEFAULT_CYCLE_S, Policy
from rules.baseline import Floor

SMALLEST = 25
STEADY = ("baseline", "charted")
BOUNDARIES = ("setpoint", "lot", "state", "stop")
SHORTEST_CONTEXT = 8  # shots


@dataclass(frozen=True, slots=True, kw_only=True)
class Setpoint:
    """What a characteristic was set to all through a run, and how far its recipe lets it go."""

    value: float
    allowed: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Steady:
    """The steady shots of a run, ready to be studied.

    Attributes
    ----------
    run_id, press_id, context
        Of the run, and what its limits are valid for.
    frame : DataFrame
        One row a shot, in the order in which the charts saw them: id, counter, ended_at, and `keys`.
    keys : tuple of str
        Characteristics with 25 steady values or more.
    boundaries : tuple of int
        Places in `frame` where a setpoint, the lot or the mode of the press changed, or it started again.
    setpoints : mapping of str to Setpoint
        Those that were reported and stayed where they were.
    floor : Floor
        The budget of the press, shared by the characteristics that are charted.
    minimum_shift : mapping of str to float
        Smallest shift that matters, canonical unit.
    """

    run_id: int
    press_id: int
    context: str
    frame: pd.DataFrame
    keys: tuple[str, ...]
    boundaries: tuple[int, ...]
    setpoints: Mapping[str, Setpoint]
    floor: Floor
    minimum_shift: Mapping[str, float]

    @property
    def last_shot_id(self) -> int:
        """The newest shot of the study."""
        return int(self.frame["id"].max())

    def values(self, key: str) -> NDArray[np.float64]:
        """Values of a characteristic, NaN where missing."""
        values: NDArray[np.float64] = self.frame[key].to_numpy(dtype=np.float64)
        return values


def read_steady(
    conn: sa.Connection, run_id: int, policy: Policy, *, until_shot_id: int | None = None
) -> Steady:
    """Read the steady shots of a run.

    Parameters
    ----------
    conn : Connection
    run_id : int
    policy : Policy
        Which characteristics are charted, and the false-alarm budget.
    until_shot_id : int, optional
        Leave out what came later, so that a study of a run that goes on stays what it was.

    Raises
    ------
    NotAllowed
        No characteristic has 25 steady values.
    """
    wanted = [key for key in shots.keys(conn, run_id=run_id) if _is_charted(key, policy)]
    stored = shots.values(conn, run_id=run_id, keys=wanted, phases=STEADY)
    frame = in_chart_order(doubts.of_run(conn, stored, wanted, run_id=run_id))
    if until_shot_id is not None:
        frame = frame[frame["id"] <= until_shot_id]
    frame = frame.reset_index(drop=True)
    keys = tuple(key for key in wanted if frame[key].notna().sum() >= SMALLEST)
    if not keys:
        raise NotAllowed(f"run {run_id} has fewer than {SMALLEST} steady shots; let it run on first")
    run = runs.by_id(conn, run_id)
    press_id = conn.execute(sa.select(runs_table.c.press_id).where(runs_table.c.id == run_id)).scalar_one()
    happened = _happened(conn, press_id, frame)
    moved = {row.key for row in happened if row.kind == "setpoint" and row.key is not None}
    moving = [key for key in keys if not is_watched(key, frame[key])]
    return Steady(
        run_id=run_id, press_id=press_id, context=run.context(), keys=keys,
        frame=frame[["id", "counter", "ended_at", *keys]],
        boundaries=_boundaries(happened, frame),
        setpoints=_setpoints(conn, frame, moved, run.setpoints),
        floor=Floor(
            characteristics=max(len(moving), 1), cycle_time_s=_cycle_s(frame),
            false_alarms_per_day=policy.false_alarms_per_day,
        ),
        minimum_shift={key: policy.minimum_shift[key] for key in keys if key in policy.minimum_shift},
    )  # fmt: skip


def is_watched(key: str, column: pd.Series[float]) -> bool:
    """Whether a characteristic is watched for change: a timer, or one that never moved."""
    return quantities.is_timer(key) or column.nunique() == 1


def _is_charted(key: str, policy: Policy) -> bool:
    return key in policy.vital or quantities.is_timer(key) or quantities.find(key) is None


def _happened(conn: sa.Connection, press_id: int, frame: pd.DataFrame) -> Sequence[sa.Row[*tuple[Any, ...]]]:
    """Events on the press between the first and the last shot of the study."""
    c = events.c
    began, ended = frame["ended_at"].min().to_pydatetime(), frame["ended_at"].max().to_pydatetime()
    within = (c.press_id == press_id, c.kind.in_(BOUNDARIES), c.at > began, c.at <= ended)
    return conn.execute(sa.select(c.kind, c.key, c.at).where(*within)).all()


def _boundaries(happened: Sequence[sa.Row[*tuple[Any, ...]]], frame: pd.DataFrame) -> tuple[int, ...]:
    """Places of the first steady shots under a new setpoint, lot or mode, or after a stop.

    A few shots between two events, or before the end, are no context of their own.
    """
    ended = frame["ended_at"].to_numpy(dtype="datetime64[us]")
    moments = np.array([row.at.replace(tzinfo=None) for row in happened], dtype="datetime64[us]")
    kept: list[int] = []
    following = len(frame)
    for place in sorted(set(np.searchsorted(ended, moments).tolist()), reverse=True):
        if SHORTEST_CONTEXT <= place <= following - SHORTEST_CONTEXT:
            kept.append(place)
            following = place
    return tuple(reversed(kept))


def _setpoints(
    conn: sa.Connection,
    frame: pd.DataFrame,
    moved: Collection[str],
    recipe: Mapping[str, Mapping[str, float]],
) -> dict[str, Setpoint]:
    """Setpoints that the first shot reported and that did not move afterward."""
    first = int(frame["id"].iloc[0])
    query = sa.select(shots_table.c.setpoints).where(shots_table.c.id == first)
    told: Mapping[str, float] = conn.execute(query).scalar_one() or {}
    return {
        key: Setpoint(value=float(value), allowed=recipe.get(key, {}).get("allowed"))
        for key, value in told.items()
        if key not in moved
    }


def _cycle_s(frame: pd.DataFrame) -> float:
    """Usual time from shot to shot, to two digits: presses that are nearly alike share one solution."""
    if "cycle_time" in frame and frame["cycle_time"].notna().any():
        cycle_s = float(frame["cycle_time"].median())
    else:
        cycle_s = float(frame["ended_at"].diff().dt.total_seconds().median())
    return float(f"{cycle_s:.2g}") if cycle_s > 0 else DEFAULT_CYCLE_S
