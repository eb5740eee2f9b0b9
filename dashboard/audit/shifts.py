"""When the process shifted, to which level, and which shots that touched. Pure.

A stretch is the shots between two change points. It is *away* when its level lies farther from the center of
the baseline then in force than one sigma plus two standard errors of that center: nearer than that, the
baseline itself could be wrong by as much. One sigma is the size of shift that the charts are made to see.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from dashboard.audit.facts import InForce
from dashboard.audit.shot_list import ShotList
from rules import change_point

FEWEST_STEPS_OF_A_DRIFT = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Shift:
    """One change point: first shot of the new level, its confidence set, the levels on both sides."""

    place: int
    low: int
    high: int
    before: float
    after: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """Shots at one level, `n` of them with a value; `sigmas` from the baseline's center, None without one."""

    first: int
    last: int
    n: int
    level: float
    sigmas: float | None
    away: bool
    signaled: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Excursion:
    """Stretches on end that are away from the baseline, on one side of it.

    Attributes
    ----------
    center, level, sigmas : float
        Means over its shots: of the baseline's center, of the values, and of the distance in sigma.
    farthest : float
        Mean distance from the center of the stretch that lies farthest off, in the unit of the values.
    farthest_shots : int
        Shots of that stretch.
    steps : int
        Number of levels; many that go one way look like a drift.
    drift : bool
    low, high : int
        Confidence set of the first shot.
    signaled : int
        Shots of it at which the characteristic signaled.
    """

    key: str
    first: int
    last: int
    low: int
    high: int
    center: float
    level: float
    sigmas: float
    farthest: float
    farthest_shots: int
    steps: int
    drift: bool
    signaled: int


@dataclass(frozen=True, slots=True, kw_only=True)
class History:
    """How one characteristic went through the run."""

    key: str
    n: int
    shifts: tuple[Shift, ...]
    stretches: tuple[Stretch, ...]
    excursions: tuple[Excursion, ...]


def history(
    key: str,
    values: npt.ArrayLike,
    shot_list: ShotList,
    in_force: Sequence[InForce],
    signaled: Sequence[int],
) -> History:
    """Change points of one characteristic over the shots after startup.

    Parameters
    ----------
    key : str
    values : array_like of float, shape (n,)
        One a shot of the list, NaN where missing.
    shot_list : ShotList
    in_force : sequence of InForce
        Limits of this key that judged shots of the run.
    signaled : sequence of int
        Places at which the key signaled.
    """
    steady = shot_list.steady
    x = np.asarray(values, dtype=np.float64)[steady]
    points = _points(x, in_force)
    shifts = tuple(
        Shift(
            place=int(steady[p.index]), low=int(steady[p.low]), high=int(steady[p.high]),
            before=p.before, after=p.after,
        )
        for p in points
    )  # fmt: skip
    stretches = tuple(_stretches(x, steady, [p.index for p in points], in_force, signaled))
    return History(
        key=key, n=int(np.count_nonzero(~np.isnan(x))), shifts=shifts, stretches=stretches,
        excursions=tuple(_excursions(key, stretches, shifts, in_force)),
    )  # fmt: skip


def _points(x: npt.NDArray[np.float64], in_force: Sequence[InForce]) -> list[change_point.ChangePoint]:
    watched = [each for each in in_force if each.charts[0]["chart"] == "setting"]
    if watched:  # a timer has no noise to estimate sigma from; what counts is the digit it is written with
        digit = watched[0].baseline["sigma"]
        found = change_point.many(x, sigma=digit, phi=0.0)
        return change_point.beyond_scatter(x, found, sigma=digit, phi=0.0)
    # Where somebody paces the press by hand its times scatter; levels of a few such shots would mean nothing.
    return change_point.beyond_scatter(x, change_point.many(x))


def _stretches(
    x: npt.NDArray[np.float64],
    steady: npt.NDArray[np.intp],
    starts: Sequence[int],
    in_force: Sequence[InForce],
    signaled: Sequence[int],
) -> list[Stretch]:
    found = []
    for start, stop in zip([0, *starts], [*starts, len(x)], strict=True):
        part = x[start:stop]
        if stop <= start or np.isnan(part).all():
            continue
        first, last = int(steady[start]), int(steady[stop - 1])
        level = float(np.nanmean(part))
        limits = _limits_at(in_force, (first + last) // 2)
        sigmas = None if limits is None else (level - limits.baseline["center"]) / limits.baseline["sigma"]
        inside = sum(first <= place <= last for place in signaled)
        away = limits is not None and _is_away(part, limits)
        found.append(
            Stretch(
                first=first, last=last, n=int(np.count_nonzero(~np.isnan(part))), level=level, sigmas=sigmas,
                away=away, signaled=inside,
            )
        )  # fmt: skip
    return found


def _is_away(part: npt.NDArray[np.float64], limits: InForce) -> bool:
    """Whether the level is off, and half its shots with it: a few far shots among many are no level."""
    distances = np.array([np.nanmean(part), np.nanmedian(part)]) - limits.baseline["center"]
    return bool(np.all(np.abs(distances) > _allowed(limits) * limits.baseline["sigma"]))


def _limits_at(in_force: Sequence[InForce], place: int) -> InForce | None:
    """The version in force at a place; before the first one, that first one."""
    known = [each for each in in_force if each.first <= place]
    return known[-1] if known else next(iter(in_force), None)


def _center(stretch: Stretch, in_force: Sequence[InForce]) -> float:
    limits = _limits_at(in_force, (stretch.first + stretch.last) // 2)
    assert limits is not None  # only a stretch with a baseline is away
    return float(limits.baseline["center"])


def _allowed(limits: InForce) -> float:
    n = limits.effective_n
    return 1.0 + (2.0 / math.sqrt(n) if n > 0 else 0.0)


def _excursions(
    key: str, stretches: Sequence[Stretch], shifts: Sequence[Shift], in_force: Sequence[InForce]
) -> list[Excursion]:
    groups: list[list[Stretch]] = []
    before: Stretch | None = None
    for each in stretches:
        if each.away:
            joins = before is not None and before.away and _side(before) == _side(each)
            if joins:
                groups[-1].append(each)
            else:
                groups.append([each])
        before = each
    return [_excursion(key, group, shifts, in_force) for group in groups]


def _side(stretch: Stretch) -> bool:
    return (stretch.sigmas or 0.0) > 0


def _excursion(
    key: str, group: Sequence[Stretch], shifts: Sequence[Shift], in_force: Sequence[InForce]
) -> Excursion:
    first, last = group[0].first, group[-1].last
    start = next((shift for shift in shifts if shift.place == first), None)
    levels = [each.level for each in group]
    moves = np.sign(np.diff(levels))
    center, level, sigmas = np.average(
        [(_center(each, in_force), each.level, each.sigmas) for each in group],
        axis=0, weights=[each.n for each in group],
    ).tolist()  # fmt: skip
    far = max(group, key=lambda each: abs(each.sigmas or 0.0))
    return Excursion(
        key=key, first=first, last=last,
        low=first if start is None else start.low, high=first if start is None else start.high,
        center=center, level=level, sigmas=sigmas, farthest=far.level - _center(far, in_force),
        farthest_shots=far.last - far.first + 1, steps=len(group),
        drift=len(group) >= FEWEST_STEPS_OF_A_DRIFT and abs(moves.sum()) == len(moves),
        signaled=sum(each.signaled for each in group),
    )  # fmt: skip
