"""Which rows of a joint baseline a person should look at, and what else the rows say about themselves.

References
----------
Tracy, N. D., Young, J. C. and Mason, R. L. (1992). Multivariate control charts for individual observations.
J. Quality Technology 24, 88-95 (phase I limits).
Sullivan, J. H. and Woodall, W. H. (1996). A comparison of multivariate control charts for individual
observations. J. Quality Technology 28, 398-408 (a step hides from the sample covariance).
Williams, J. D., Woodall, W. H., Birch, J. B. and Sullivan, J. H. (2006). Distribution of Hotelling's T2
statistic based on the successive differences estimator. J. Quality Technology 38, 217-229 (chi-square in long
baselines).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rules.baseline.autocorrelation import lag_one
from rules.baseline.joint import SAMPLE, JointBaseline, joint_baseline, subgroup_baseline
from rules.baseline.joint_limits import known_limit, phase_one_limit, phase_one_means_limit
from rules.baseline.refusals import TooFewValues
from rules.charts.joint_contribution import RELATION, TOGETHER, Contributions
from rules.charts.t2 import T2Chart, T2State
from rules.figures import written

__all__ = ["JointStudy", "RowToLookAt", "joint_study", "subgroup_study"]

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class RowToLookAt:
    """A row that does not belong to the rest.

    Parameters
    ----------
    index : int
        Place in the rows handed in, from 0.
    t2 : float
        Its statistic.
    contributions : Contributions
        What each characteristic adds.
    reason : str
        One sentence.
    """

    index: int
    t2: float
    contributions: Contributions
    reason: str


@dataclass(frozen=True, slots=True)
class JointStudy:
    """What a phase I study of rows found.

    Parameters
    ----------
    baseline : JointBaseline
        Of all complete rows, those to look at among them.
    t2 : tuple of float
        Statistic of each row handed in, NaN where a value is missing.
    limit : float
        Phase I limit of the statistic.
    rows : tuple of RowToLookAt
        In the order of the shots.
    notes : tuple of str
        Sentences that a person should read.
    """

    baseline: JointBaseline
    t2: tuple[float, ...]
    limit: float
    rows: tuple[RowToLookAt, ...]
    notes: tuple[str, ...]


def joint_study(
    rows: ArrayLike,
    names: Sequence[str],
    *,
    overall: float = 0.05,
    method: str = SAMPLE,
    phi: Sequence[float] = (),
) -> JointStudy:
    """Return the joint baseline of a run and the rows a person should look at.

    Parameters
    ----------
    rows, names, method, phi
        As in :func:`rules.baseline.joint.joint_baseline`.
    overall : float
        Chance that a steady baseline has any row beyond the limit; shared evenly among the rows, as if they
        were independent.

    Returns
    -------
    JointStudy

    Raises
    ------
    ValueError
        As :func:`rules.baseline.joint.joint_baseline`; TooFewValues also where successive differences have
        too few rows, ``p^2 + 3 p``, for their limit.
    """
    baseline = joint_baseline(rows, names, method=method, phi=phi)
    alpha = _each(overall, baseline.n)
    p = len(names)
    if method == SAMPLE:
        limit = phase_one_limit(alpha=alpha, columns=p, rows=baseline.n)
    elif baseline.n <= p * p + 3 * p:
        raise TooFewValues(
            f"Limits by successive differences of {p} characteristics need more than {p * p + 3 * p} rows, "
            f"not {baseline.n}; collect more or use the sample covariance."
        )
    else:
        limit = known_limit(alpha=alpha, columns=p)
    values = np.asarray(rows, dtype=np.float64)
    return _studied(baseline, values, limit, _notes(values, baseline))


def subgroup_study(groups: ArrayLike, names: Sequence[str], *, overall: float = 0.05) -> JointStudy:
    """Return the baseline of subgroup means and the subgroups a person should look at.

    Parameters
    ----------
    groups, names
        As in :func:`rules.baseline.joint.subgroup_baseline`.
    overall : float
        As in :func:`joint_study`.

    Returns
    -------
    JointStudy
        One row a subgroup.

    Raises
    ------
    ValueError
        As :func:`rules.baseline.joint.subgroup_baseline`.
    """
    baseline = subgroup_baseline(groups, names)
    limit = phase_one_means_limit(
        alpha=_each(overall, baseline.n), columns=len(names), rows=baseline.n, freedom=baseline.freedom
    )
    return _studied(baseline, np.asarray(groups, dtype=np.float64).mean(axis=1), limit, ())


def _each(overall: float, rows: int) -> float:
    if not 0.0 < overall < 1.0:
        raise ValueError(f"The overall chance is {overall}; give a number between 0 and 1.")
    return float(-np.expm1(np.log1p(-overall) / rows))


def _studied(baseline: JointBaseline, rows: FloatArray, limit: float, notes: tuple[str, ...]) -> JointStudy:
    chart = T2Chart(**baseline.chart_parameters(), limit=limit)
    _, track = chart.run(rows)
    found = tuple(_looked_at(chart, rows, index, float(track.statistic[index])) for index, _ in track.signals)
    said = tuple(f"Look at row {row.index}: {row.reason}" for row in found)
    return JointStudy(baseline, tuple(track.statistic.tolist()), limit, found, notes + said)


def _looked_at(chart: T2Chart, rows: FloatArray, index: int, t2: float) -> RowToLookAt:
    state: T2State = chart.start() if index == 0 else chart.run(rows[index - 1 : index])[0]
    parts = chart.explain(state, rows[index].tolist())
    assert parts is not None  # a row with a signal is complete
    return RowToLookAt(index, t2, parts, _reason(parts, chart.limit))


def _reason(parts: Contributions, limit: float) -> str:
    leading = parts.leading
    beyond = f"T2 is {written(parts.statistic)}, limit {written(limit)}"
    if parts.kind == TOGETHER:
        return f"{beyond}; no characteristic stands out, small deviations add up."
    if parts.kind == RELATION:
        return (
            f"{beyond}; {leading.name} is {written(leading.strayed, signed=True)} from what the others lead "
            "one to expect, "
            f"though only {written(leading.moved, signed=True)} from its center."
        )
    return f"{beyond}; {leading.name} is {written(leading.moved, signed=True)} from its center."


def _notes(rows: FloatArray, baseline: JointBaseline) -> tuple[str, ...]:
    """Say what of the rows was left out, and where they are not the independent rows the limits suppose."""
    notes = []
    incomplete = len(rows) - baseline.n
    if incomplete:
        notes.append(f"{incomplete} of {len(rows)} rows miss a value and are left out.")
    if not any(baseline.phi):
        alike = [name for name, x in zip(baseline.names, rows.T, strict=True) if lag_one(x).is_positive]
        if alike:
            notes.append(
                f"Neighboring values of {', '.join(alike)} are alike: free the rows of it by phi before a "
                "MEWMA, or look for a step or a wander; T2 keeps its false alarms but sends them in clusters."
            )
    return tuple(notes)
