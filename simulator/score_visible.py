"""Could anybody have seen a fault in what the press reports, with all its shots at hand and knowing which?

Where nothing shows it, no chart can; such faults are listed, and not counted against the charts. The measures
are ours: they are meant to be generous, so that few faults are excused.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from simulator.records import SimShot

LEVEL_SIGMAS = 1.0  # of the mean of all touched shots; less is lost in a wandering press
LEVEL_K = 1.0  # what a hall between day and night does to any temperature
SPREAD = 1.5
SINGLE_SIGMAS = 7.0
FLAT_SHARE = 0.9


def shows(sound: Sequence[SimShot], touched: Sequence[SimShot]) -> dict[str, str]:
    """Name the readings and setpoints that show a fault, and how, the plainest first; empty when none does.

    Parameters
    ----------
    sound : sequence of SimShot
        Shots of the same press that nothing touched.
    touched : sequence of SimShot
        Shots that the fault touched.

    Returns
    -------
    dict of str to str
        Such as ``{"cushion": "level"}``.
    """
    found: dict[tuple[str, str], float] = {}
    before, after = _columns(sound), _columns(touched)
    for key in before.keys() & after.keys():
        found |= _of_one(key, before[key], after[key])
    shown: dict[str, str] = {}
    for key, how in sorted(found, key=lambda each: -found[each]):
        shown.setdefault(key, how)
    for key, _ in sorted(_setpoints(touched) - _setpoints(sound)):
        shown.setdefault(key, "setpoint")
    return shown


def _of_one(
    key: str, before: NDArray[np.float64], after: NDArray[np.float64]
) -> dict[tuple[str, str], float]:
    """How far past its measure a reading is in level, spread and single values; empty where it is not."""
    sigma = float(before.std())
    if sigma == 0.0:
        return {(key, "level"): 1.0} if bool((after != before[0]).any()) else {}
    least = max(LEVEL_SIGMAS, LEVEL_K / sigma) if "temperature" in key else LEVEL_SIGMAS
    z = (after - before.mean()) / sigma
    farthest = float(np.abs((before - before.mean()) / sigma).max())
    shares = {
        "level": abs(float(z.mean())) / least,
        "spread": float(np.diff(after).std() / np.diff(before).std()) / SPREAD if len(after) > 2 else 0.0,
        "single": float(np.abs(z).max()) / max(SINGLE_SIGMAS * least, 1.2 * farthest),
        "flat": float(np.mean(np.diff(after) == 0)) / FLAT_SHARE if len(after) > 2 else 0.0,
    }
    return {(key, how): share for how, share in shares.items() if share >= 1.0}


def _columns(shots: Sequence[SimShot]) -> dict[str, NDArray[np.float64]]:
    keys = {key for shot in shots for key in shot.values}
    return {key: np.array([s.values[key] for s in shots if key in s.values], dtype=float) for key in keys}


def _setpoints(shots: Sequence[SimShot]) -> set[tuple[str, float]]:
    return {item for shot in shots for item in _items(shot.setpoints)}


def _items(setpoints: Mapping[str, float]) -> list[tuple[str, float]]:
    return [(key, round(value, 3)) for key, value in setpoints.items()]

