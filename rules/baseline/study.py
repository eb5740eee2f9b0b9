"""What baseline do the first shots of a run make, and what should a person know of it? The phase I study.

Puts together the answers of the other modules of this package; each of those names its source. The order and
the choice are ours.

Source: ISO 7870-2:2023, phase 1.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rules.baseline.autocorrelation import Autocorrelation, lag_one
from rules.baseline.contexts import checked_boundaries, compare
from rules.baseline.memory import Memory, memory_of, residuals
from rules.baseline.normality import Shape, shape_of
from rules.baseline.notes import notes_of
from rules.baseline.outliers import Outlier, propose, propose_among_alike
from rules.baseline.refusals import ConstantValues, TooFewValues
from rules.baseline.resolution import sigma_floor, step_of
from rules.baseline.spread import Spread, spread_of
from rules.baseline.stability import HOLDS, Stability, stability_of
from rules.baseline.standing import judge
from rules.baseline.startup import first_steady_index
from rules.baseline.studied import Study
from rules.change_point import lag_one_of_differences
from rules.limits import Baseline
from rules.series import finite_series

__all__ = ["FEWEST_VALUES", "provisional", "study"]

FloatArray = NDArray[np.float64]
FEWEST_VALUES = 25
FEW = 3  # values that stand out, or one in a hundred; more are a shape


def study(
    x: ArrayLike,
    *,
    exclude_startup: bool = True,
    resolution: float | None = None,
    left_out: Sequence[int] = (),
    boundaries: Sequence[int] = (),
) -> Study:
    """Return the baseline of a run and what should be known about it.

    Parameters
    ----------
    x : array_like of float, shape (n,)
        Values in the order of the shots; NaN where missing.
    exclude_startup : bool
        Leave out the first values that differ from the later level, of the run and of every context.
    resolution : float, optional
        Step of the values, where it is known; found from the values otherwise.
    left_out : sequence of int
        Places that a person chose to leave out of the baseline; they are treated as missing.
    boundaries : sequence of int
        First shot of each new context: setpoint, lot, mode, restart.

    Returns
    -------
    Study

    Raises
    ------
    TooFewValues
        If fewer than 25 steady values are there.
    InfiniteValue
        If a value is infinite.
    ConstantValues
        If all are equal and no resolution is known.
    ValueError
        If a place lies outside the values, or they have more than one dimension.

    Notes
    -----
    A positive autocorrelation is handed on with the baseline, so that limits are widened for it; where lag 1
    does not tell all of the memory and one level holds, it is that of the process with the same long memory.
    """
    values = finite_series(x)
    places = _left_out(left_out, len(values))
    boundaries = checked_boundaries(boundaries, len(values)) if boundaries else ()
    steady = values.copy()
    steady[list(places)] = np.nan
    startups = _startups(steady, boundaries) if exclude_startup else ()
    for start, stop in startups:
        steady[start:stop] = np.nan
    apart = propose(steady)
    found = _study(steady, apart, resolution, startups, boundaries)
    found = replace(found, left_out=places)
    return replace(found, notes=(*notes_of(found), *_far_out_note(apart)))


def _far_out_note(apart: Sequence[Outlier]) -> tuple[str, ...]:
    places = ", ".join(str(each.index) for each in apart if each.is_far_out)
    if not places:
        return ()
    return (f"So far out that center and sigma are taken without them: shots {places}. Say what they were.",)


def _study(
    steady: FloatArray,
    apart: tuple[Outlier, ...],
    resolution: float | None,
    startups: tuple[tuple[int, int], ...],
    boundaries: tuple[int, ...],
) -> Study:
    startup = startups[0][1] if startups and startups[0][0] == 0 else 0
    baseline, correlation, step, spread = _baseline(steady, apart, resolution)
    run = steady[startup:]
    memory = memory_of(run, correlation)
    stability = _moved(_stability(run, memory), startup)
    if stability.verdict == "steady" and not memory.is_enough and spread.method == "total":
        baseline = replace(baseline, phi=memory.phi)
    left = residuals(run, correlation.established)
    outliers = apart if baseline.phi == 0.0 else _among_alike(steady, left, startup)
    shape = _shape(left, [each.index - startup for each in outliers], baseline.phi, step)
    time = max(memory.time, 1.0)
    changes = (
        compare(steady, boundaries, time=_time_within(steady, boundaries, stability)) if boundaries else ()
    )
    contexts = _contexts(steady, boundaries)
    standing = judge(baseline, time=time, contexts=contexts)
    return Study(
        baseline, startup, tuple(each.index for each in outliers), (correlation.low, correlation.high), step,
        (), startups, (), outliers, correlation, memory, shape, stability, spread, standing, changes,
    )  # fmt: skip


def provisional(x: ArrayLike, *, resolution: float | None = None) -> Baseline:
    """Return a baseline from a few steady values, for limits that are marked provisional.

    Parameters
    ----------
    x : array_like of float, shape (n,)
        25 or more steady values in the order of the shots; NaN where missing.
    resolution : float, optional
        Step of the values, where it is known; found from the values otherwise.

    Returns
    -------
    Baseline
        Sigma as in :func:`study`. Widening the limits for the small number is the budget's part.

    Raises
    ------
    ValueError
        As :func:`study`.
    """
    steady = finite_series(x)
    return _baseline(steady, propose(steady), resolution)[0]


def _left_out(left_out: Sequence[int], n: int) -> tuple[int, ...]:
    places = tuple(sorted({int(each) for each in left_out}))
    for each in places:
        if not 0 <= each < n:
            raise ValueError(f"Shot {each} cannot be left out of {n}; give places from 0 to {n - 1}.")
    return places


def _startups(steady: FloatArray, boundaries: tuple[int, ...]) -> tuple[tuple[int, int], ...]:
    bounds = [0, *boundaries, len(steady)]
    found = ((a, a + first_steady_index(steady[a:b])) for a, b in pairwise(bounds))
    return tuple((a, b) for a, b in found if b > a)


def _baseline(
    steady: FloatArray, apart: Sequence[Outlier], resolution: float | None
) -> tuple[Baseline, Autocorrelation, float | None, Spread]:
    """Center and sigma, and what sigma rests on; values that no process gives are left to a person."""
    steady = steady.copy()
    steady[[each.index for each in apart if each.is_far_out]] = np.nan
    present = steady[~np.isnan(steady)]
    if len(present) < FEWEST_VALUES:
        raise TooFewValues(
            f"{len(present)} steady values are too few for limits; collect {FEWEST_VALUES} or more."
        )
    step = step_of(present) if resolution is None else resolution
    correlation = lag_one(steady)
    spread = spread_of(steady, correlation, step=step, floor=sigma_floor(step))
    center = float(present.mean())
    if not spread.sigma > 1e-12 * abs(center):
        raise ConstantValues(
            f"All {len(present)} values are {present[0]:g}; give the resolution of this characteristic, "
            "or watch it for change as a setting."
        )
    made = Baseline(
        center=center, sigma=spread.sigma, n=len(present), phi=correlation.allowed_for,
        sigma_method=spread.method,
    )  # fmt: skip
    return made, correlation, step, spread


def _stability(run: FloatArray, memory: Memory) -> Stability:
    if np.nanmax(run) > np.nanmin(run):
        return stability_of(run, memory)
    return Stability("steady", (), 0.0, 0.0, np.nan, np.nan, (0, len(run)), HOLDS)


def _moved(found: Stability, by: int) -> Stability:
    """Count places from the first value handed in."""
    first, last = found.stretch
    changes = tuple(each + by for each in found.changes)
    return replace(found, changes=changes, stretch=(first + by, last + by))


def _among_alike(steady: FloatArray, left: FloatArray, startup: int) -> tuple[Outlier, ...]:
    return tuple(
        replace(each, index=each.index + startup, value=float(steady[each.index + startup]))
        for each in propose_among_alike(left)
    )


def _shape(left: FloatArray, outliers: list[int], phi: float, step: float | None) -> Shape:
    """Shape of all values, or, where a few that stand out make it, that of the others."""
    whole = shape_of(left, phi=phi, step=step)
    if not 0 < len(outliers) <= max(FEW, len(left) // 100):
        return whole
    others = left.copy()
    others[outliers] = np.nan
    rest = shape_of(others, phi=phi, step=step)
    return whole if rest.kind == whole.kind else rest


def _time_within(steady: FloatArray, boundaries: tuple[int, ...], stability: Stability) -> float:
    """Shots worth one independent shot, freed of the contexts' own levels: those are the question.

    A step that comes a few shots after its boundary would look like memory, so differences tell it then.
    """
    parts = np.split(steady, list(boundaries))
    freed = np.concatenate([part - np.nanmean(part) if np.isfinite(part).any() else part for part in parts])
    phi = lag_one(freed).established
    if stability.verdict == "steps":
        phi = min(phi, lag_one_of_differences(freed[~np.isnan(freed)]))
    return (1.0 + phi) / (1.0 - phi)


def _contexts(steady: FloatArray, boundaries: tuple[int, ...]) -> int:
    return sum(bool(np.isfinite(part).any()) for part in np.split(steady, list(boundaries)))
