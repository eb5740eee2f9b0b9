"""What a study of a run proposes as limits. Reads, and changes nothing.

The proposals are those of `rules.baseline`; this brings them the steady shots of the run, its events as
boundaries, the setpoints it reported, and the share of the false-alarm budget.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
import sqlalchemy as sa
from numpy.typing import NDArray

from collector.contract import quantities
from collector.errors import NotAllowed
from collector.plan import KeyLimits, watch_timer
from collector.retrace import in_chart_order
from collector.store import runs, shots
from collector.store.tables import events
from collector.store.tables import runs as runs_table
from collector.store.tables import shots as shots_table
from collector.verdict import DEFAULT_CYCLE_S, Policy
from rules.baseline import Floor, Proposal, Study, propose_charts, propose_setting, study
from rules.limits import Baseline

SMALLEST = 25
STEADY = ("baseline", "charted")
BOUNDARIES = ("setpoint", "lot", "state", "stop")
SHORTEST_CONTEXT = 8  # shots
SHIFTS_PER_DAY = 3.0


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


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposed:
    """What a study proposes for one characteristic.

    Attributes
    ----------
    proposal : Proposal
    study : Study or None
        Of all steady shots, where `proposal` may rest on a stretch of them; None for what is watched. Its
        places count the shots of the study, from 0.
    limits : KeyLimits or None
        The same as limits that can be stored; None where nothing can be proposed yet.
    left_out : tuple of int
        Ids of the shots that a person left out.
    standing_out : tuple of int
        Ids of the shots that a person should look at; they are part of the baseline.
    """

    key: str
    proposal: Proposal
    study: Study | None
    limits: KeyLimits | None
    left_out: tuple[int, ...] = ()
    standing_out: tuple[int, ...] = ()

    @property
    def to_confirm(self) -> bool:
        """Whether a person must confirm something before these limits may be put in force."""
        return bool(self.proposal.confirm)


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
    frame = in_chart_order(shots.values(conn, run_id=run_id, keys=wanted, phases=STEADY))
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
    moving = [key for key in keys if not _is_watched(key, frame[key])]
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


def propose(
    conn: sa.Connection,
    run_id: int,
    policy: Policy,
    *,
    left_out: Mapping[str, Collection[int]] | None = None,
) -> list[Proposed]:
    """Study the steady shots of a run, every characteristic; nothing is changed.

    Parameters
    ----------
    left_out : mapping of str to collection of int, optional
        Ids of shots that a person leaves out of the baseline of a characteristic.

    Raises
    ------
    NotAllowed
        No characteristic has 25 steady values, or a shot left out is not part of the study.
    """
    steady = read_steady(conn, run_id, policy)
    return [propose_key(steady, key, left_out=(left_out or {}).get(key, ())) for key in steady.keys]


def propose_key(steady: Steady, key: str, *, left_out: Collection[int] = ()) -> Proposed:
    """Study one characteristic; pure.

    Raises
    ------
    NotAllowed
        A shot left out is not part of the study.
    """
    column = steady.frame[key]
    if _is_watched(key, column):
        return _watched(key, float(column.median()))
    places = _places(steady, key, left_out)
    setpoint = steady.setpoints.get(key)
    try:
        found = propose_charts(
            steady.values(key), steady.floor, left_out=places, boundaries=steady.boundaries,
            setpoint=None if setpoint is None else setpoint.value,
            allowed_deviation=None if setpoint is None else setpoint.allowed,
            minimum_shift=steady.minimum_shift.get(key, 0.0),
        )  # fmt: skip
    except ValueError as error:
        found = Proposal("none", (), f"No limits: {error}")
    whole = found.study
    if found.kind == "none" or found.confirm:  # where the level steps, limits rest on its longest stretch
        whole = _whole(steady, key, places)
    ids = steady.frame["id"]
    outliers = () if whole is None else whole.outliers
    return Proposed(
        key=key, proposal=found, study=whole, limits=_limits(key, found), left_out=tuple(sorted(left_out)),
        standing_out=tuple(int(ids[place]) for place in outliers),
    )  # fmt: skip


def _whole(steady: Steady, key: str, left_out: Sequence[int]) -> Study | None:
    """The study of all steady shots; None where there are too few, or they never move."""
    try:
        return study(steady.values(key), left_out=left_out, boundaries=steady.boundaries)
    except ValueError:
        return None


def _limits(key: str, found: Proposal) -> KeyLimits | None:
    if not found.charts:
        return None
    charts = tuple(planned.make() for planned in found.charts)
    return KeyLimits(
        key=key, version=1, standing=found.standing, baseline=_baseline(found), charts=charts,
        cost=_cost(found),
    )  # fmt: skip


def _baseline(found: Proposal) -> Baseline:
    """Center and sigma behind the charts: of the charts themselves, where they have them."""
    first = found.charts[0].parameters
    if found.study is None:
        level, tolerance = float(first["setpoint"]), float(first["tolerance"])
        return Baseline(center=level, sigma=tolerance, n=0, sigma_method="given")
    base = found.study.baseline
    if found.band is not None:
        return replace(base, center=found.band.nominal, sigma=found.band.sigma, phi=found.band.phi)
    return replace(base, center=float(first["center"]), sigma=float(first.get("sigma", base.sigma)))


def _cost(found: Proposal) -> dict[str, object]:
    """As the row of limits stores it; a delay that is endless has no number."""
    delay = {f"{shift:g}": shots for shift, shots in found.delay.items()}
    cost: dict[str, object] = {
        "delay": {shift: shots if np.isfinite(shots) else None for shift, shots in delay.items()}
    }
    if found.false_alarms_per_shift is not None:
        cost["own_false_alarms_per_shift"] = found.false_alarms_per_shift
    return cost


def _watched(key: str, level: float) -> Proposed:
    """A timer, or a value that never moved, is watched for change by the digits it is written with."""
    made = watch_timer(key, level, version=1)
    found = propose_setting(level, made.baseline.sigma)
    return Proposed(key=key, proposal=found, study=None, limits=made)


def _is_watched(key: str, column: pd.Series[float]) -> bool:
    return quantities.is_timer(key) or column.nunique() == 1


def _is_charted(key: str, policy: Policy) -> bool:
    return key in policy.vital or quantities.is_timer(key) or quantities.find(key) is None


def _places(steady: Steady, key: str, left_out: Collection[int]) -> list[int]:
    places = {int(shot_id): place for place, shot_id in enumerate(steady.frame["id"])}
    strange = [shot_id for shot_id in left_out if shot_id not in places]
    if strange:
        raise NotAllowed(
            f"shot {strange[0]} cannot be left out of {quantities.label(key)}: it is no steady shot of run "
            f"{steady.run_id}"
        )
    return sorted(places[shot_id] for shot_id in left_out)


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
