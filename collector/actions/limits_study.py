"""What a study of a run proposes as limits. Reads, and changes nothing.

The proposals are those of `rules.baseline`, as limits that can be stored and with shots named by their ids.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
import sqlalchemy as sa

from collector.actions.limits_steady import Steady, is_watched, read_steady
from collector.contract import quantities
from collector.errors import NotAllowed
from collector.plan import KeyLimits, watch_timer
from collector.verdict import Policy
from rules.baseline import Proposal, Study, propose_charts, propose_setting, study
from rules.limits import Baseline

SHIFTS_PER_DAY = 3.0


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
    if is_watched(key, column):
        return _watched(key, column)
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


def _watched(key: str, column: pd.Series[float]) -> Proposed:
    """A timer, or a value that never moved, is watched for change by the digits it is written with."""
    written = column.dropna()
    level = float(written.median())
    made = watch_timer(key, level, version=1)
    found = propose_setting(level, made.baseline.sigma)
    off = (written - level).abs() > made.baseline.sigma
    if off.any():
        found = replace(found, confirm=_contradicted(key, level, written, off))
    return Proposed(key=key, proposal=found, study=None, limits=made)


def _contradicted(key: str, level: float, written: pd.Series[float], off: pd.Series[bool]) -> str:
    """A timer that was set otherwise for a while; which of the two is qualified the shots cannot know."""
    usual, newest = (quantities.format_value(key, each) for each in (level, float(written.iloc[-1])))
    said = f"It was not {usual} in {int(off.sum())} of {len(written)} shots"
    if off.iloc[-1]:
        said += f", and is {newest} now, so every shot would signal"
    return f"{said}. Is {usual} what is qualified?"


def _places(steady: Steady, key: str, left_out: Collection[int]) -> list[int]:
    places = {int(shot_id): place for place, shot_id in enumerate(steady.frame["id"])}
    strange = [shot_id for shot_id in left_out if shot_id not in places]
    if strange:
        raise NotAllowed(
            f"shot {strange[0]} cannot be left out of {quantities.label(key)}: it is no steady shot of run "
            f"{steady.run_id}"
        )
    return sorted(places[shot_id] for shot_id in left_out)
