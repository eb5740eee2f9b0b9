"""What varies by chance from shot to shot: one first-order autoregression per cause.

A cause is a message key where the variation is that of the quantity itself or its reading, or a cause that no
press reports (`blend_mix`, `dose`, `machine_motion`, `disc_*`). Their sizes are assumed, so that what is
reported keeps the ranges in `simulator.spread` after everything else that moves it.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from simulator.plant import ZONES
from simulator.spread import Scale


@dataclass(frozen=True, slots=True)
class Cause:
    """Variation by one cause.

    Attributes
    ----------
    key : str
    scale : {'relative', 'absolute'}
        Whether sigma is a share of the mean or in canonical units.
    sigma, lag_1 : float
        Stationary standard deviation and lag-1 correlation of this cause alone.
    resolution : float
        Step in which the press reports the value; 0 for what it does not report.
    """

    key: str
    scale: Scale
    sigma: float
    lag_1: float
    resolution: float


# fmt: off
CAUSES: tuple[Cause, ...] = (
    Cause("injection_time", "relative", 0.004, 0.15, 0.001),
    Cause("peak_melt_pressure", "relative", 0.0032, 0.15, 0.01),
    Cause("switchover_melt_pressure", "relative", 0.001, 0.0, 0.01),
    Cause("switchover_position", "absolute", 0.05, 0.0, 0.01),
    Cause("hold_melt_pressure", "relative", 0.002, 0.0, 0.01),
    Cause("back_pressure", "relative", 0.005, 0.0, 0.01),
    Cause("cushion", "absolute", 0.065, 0.65, 0.01),
    Cause("screw_start_position", "absolute", 0.04, 0.45, 0.01),
    Cause("recovery_time", "relative", 0.013, 0.5, 0.01),
    Cause("screw_torque", "relative", 0.028, 0.3, 0.1),
    Cause("screw_speed", "relative", 0.003, 0.0, 0.1),
    Cause("machine_motion", "absolute", 0.03, 0.1, 0.0),
    Cause("mold_open_time", "relative", 0.012, 0.1, 0.01),
    Cause("cycle_time", "relative", 0.0, 0.0, 0.01),
    Cause("clamp_force", "relative", 0.004, 0.3, 1.0),
    Cause("part_weight", "relative", 0.0012, 0.4, 0.01),
    Cause("barrel_temperature", "absolute", 0.45, 0.93, 0.1),
    Cause("nozzle_temperature", "absolute", 0.45, 0.93, 0.1),
    Cause("mold_core_temperature", "absolute", 0.15, 0.80, 0.01),
    Cause("mold_cavity_temperature", "absolute", 0.15, 0.80, 0.01),
    Cause("coolant_supply_temperature", "absolute", 0.07, 0.90, 0.1),
    Cause("coolant_return_temperature", "absolute", 0.05, 0.5, 0.1),
    Cause("coolant_flow", "relative", 0.012, 0.7, 0.01),
    Cause("ambient_temperature", "absolute", 0.15, 0.95, 0.1),
    Cause("blend_mix", "relative", 0.006, 0.7, 0.0),
    Cause("disc_dome", "absolute", 0.06, 0.0, 0.0),
    Cause("disc_diameter", "absolute", 0.03, 0.0, 0.0),
    Cause("dose", "relative", 1.0, 0.3, 0.0),  # in units of the air that the screw leaves in the melt
)
# fmt: on

_BY_KEY = {cause.key: cause for cause in CAUSES}


def _keys() -> tuple[str, ...]:
    single = [cause.key for cause in CAUSES if cause.key != "barrel_temperature"]
    return (*single, *(f"barrel_temperature.{zone}" for zone in range(1, ZONES + 1)))


KEYS = _keys()
_SIGMA = np.array([_BY_KEY[key.split(".")[0]].sigma for key in KEYS])
_LAG_1 = np.array([_BY_KEY[key.split(".")[0]].lag_1 for key in KEYS])
_FRESH = np.sqrt(1.0 - _LAG_1**2)
_RESOLUTION = {key: _BY_KEY[key.split(".")[0]].resolution for key in KEYS}

Wobble = dict[str, float]


def first(rng: np.random.Generator) -> npt.NDArray[np.float64]:
    """Draw a state from the stationary distribution, in units of sigma; one number a key of `KEYS`."""
    return rng.standard_normal(len(KEYS))


def step(state: npt.NDArray[np.float64], rng: np.random.Generator) -> tuple[npt.NDArray[np.float64], Wobble]:
    """Go one shot on.

    Returns
    -------
    state : ndarray
        e[i] = lag_1 * e[i-1] + sqrt(1 - lag_1**2) * z, in units of sigma.
    wobble : dict of str to float
        e[i] * sigma by key: a share of the mean, or canonical units.
    """
    state = _LAG_1 * state + _FRESH * rng.standard_normal(len(KEYS))
    return state, dict(zip(KEYS, (state * _SIGMA).tolist(), strict=True))


def report(key: str, value: float) -> float:
    """Round to the step in which a press reports the quantity."""
    resolution = _RESOLUTION.get(key, 0.01)
    if resolution == 0.0:
        return value
    decimals = max(0, round(-math.log10(resolution)))
    return round(value, decimals)
