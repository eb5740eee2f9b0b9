"""Shot-to-shot variation: one table, one first-order autoregression per quantity.

`sigma` and `lag_1` drive the simulation. The columns `spread` and `lag` say in which range the reported
quantity must come out after everything else that moves it (melt, mold, material), and `basis` says where the
range is from.

References
----------
Lag-1 correlations and relative spreads marked "data": ordered stretches of a public table of 1,451 shots
(Polenta et al., Information 13 (2022) 272), another press and polymer. The rest is common practice, no
source.
"""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

Scale = Literal["relative", "absolute"]


@dataclass(frozen=True, slots=True)
class Row:
    """Variation of one quantity.

    Attributes
    ----------
    key : str
        Message key, or a cause that no press reports (`blend_mix`, `disc_*`).
    scale : {'relative', 'absolute'}
        Whether sigma and spread are shares of the mean or canonical units.
    sigma, lag_1 : float
        Stationary standard deviation and lag-1 correlation of this cause alone.
    resolution : float
        Step in which the press reports the value; 0 for what it does not report.
    spread, lag : tuple of float
        Range of the standard deviation and the lag-1 correlation of the reported value.
    basis : str
        Where the two ranges are from.
    """

    key: str
    scale: Scale
    sigma: float
    lag_1: float
    resolution: float
    spread: tuple[float, float]
    lag: tuple[float, float]
    basis: str


_PRACTICE = "common practice, no source"
_ZONE = "control ripple of a heated zone, 0.5 to 2 K; common practice, no source"
_MOLD = "data: 0.1 to 0.4 K, lag-1 0.5 to 0.85; slower with a large mold"

# fmt: off
TABLE: tuple[Row, ...] = (
    Row("injection_time", "relative", 0.004, 0.05, 0.001, (0.003, 0.02), (0.0, 0.5), "0.3 to 2 %, data: 2 %"),
    Row("peak_melt_pressure", "relative", 0.004, 0.15, 0.01, (0.005, 0.015), (0.1, 0.6), "data: 1 to 2 %"),
    Row("switchover_melt_pressure", "relative", 0.001, 0.0, 0.01, (0.005, 0.015), (0.1, 0.6), _PRACTICE),
    Row("switchover_position", "absolute", 0.05, 0.0, 0.01, (0.03, 0.2), (-0.1, 0.2), _PRACTICE),
    Row("hold_melt_pressure", "relative", 0.002, 0.0, 0.01, (0.001, 0.005), (-0.1, 0.2), "below 0.5 %"),
    Row("back_pressure", "relative", 0.005, 0.0, 0.01, (0.003, 0.01), (-0.1, 0.15), "data: 0.5 %, about 0"),
    Row("cushion", "absolute", 0.06, 0.35, 0.01, (0.04, 0.2), (0.1, 0.6), "data: 0.05 mm, 0.5 to 0.75"),
    Row("screw_start_position", "absolute", 0.04, 0.2, 0.01, (0.02, 0.2), (0.0, 0.5), "data: 0.3 %"),
    Row("recovery_time", "relative", 0.013, 0.45, 0.01, (0.01, 0.04), (0.2, 0.7), "data: 1 to 8 %"),
    Row("screw_torque", "relative", 0.028, 0.3, 0.1, (0.025, 0.05), (0.0, 0.8), "data: 2.5 to 5 %"),
    Row("screw_speed", "relative", 0.003, 0.0, 0.1, (0.001, 0.01), (-0.1, 0.2), "below 1 %"),
    Row("machine_motion", "absolute", 0.03, 0.1, 0.0, (0.0, 0.1), (-0.1, 0.3), _PRACTICE),
    Row("mold_open_time", "relative", 0.012, 0.1, 0.01, (0.005, 0.02), (-0.1, 0.3), "1 % automatic"),
    Row("cycle_time", "relative", 0.0, 0.0, 0.01, (0.0005, 0.005), (-0.1, 0.3), "0.05 to 0.5 %"),
    Row("clamp_force", "relative", 0.004, 0.3, 1.0, (0.002, 0.015), (0.1, 0.65), "data: 0.2 to 1.5 %"),
    Row("part_weight", "relative", 0.0012, 0.25, 0.01, (0.001, 0.003), (0.0, 0.6), "0.1 to 0.3 %"),
    Row("barrel_temperature", "absolute", 0.45, 0.93, 0.1, (0.3, 2.0), (0.8, 0.99), _ZONE),
    Row("nozzle_temperature", "absolute", 0.45, 0.93, 0.1, (0.3, 2.0), (0.8, 0.99), _ZONE),
    Row("mold_core_temperature", "absolute", 0.15, 0.80, 0.01, (0.1, 0.4), (0.5, 0.95), _MOLD),
    Row("mold_cavity_temperature", "absolute", 0.15, 0.80, 0.01, (0.1, 0.4), (0.5, 0.95), _MOLD),
    Row("coolant_supply_temperature", "absolute", 0.07, 0.90, 0.1, (0.05, 0.4), (0.7, 0.99), _PRACTICE),
    Row("coolant_return_temperature", "absolute", 0.05, 0.5, 0.1, (0.05, 0.4), (0.5, 0.99), _PRACTICE),
    Row("coolant_flow", "relative", 0.012, 0.7, 0.01, (0.01, 0.03), (0.5, 0.95), "1 to 3 %, high"),
    Row("ambient_temperature", "absolute", 0.15, 0.95, 0.1, (0.1, 3.0), (0.9, 1.0), _PRACTICE),
    Row("blend_mix", "relative", 0.004, 0.5, 0.0, (0.0, 0.01), (0.3, 0.7), "pellet mix drawn in; assumed"),
    Row("disc_dome", "absolute", 0.06, 0.0, 0.0, (0.0, 0.1), (-0.1, 0.1), "how it lay while it set; assumed"),
    Row("disc_diameter", "absolute", 0.03, 0.0, 0.0, (0.0, 0.1), (-0.1, 0.1), "assumed"),
)
# fmt: on

ZONES = 3
ROWS: dict[str, Row] = {row.key: row for row in TABLE}


def _keys() -> tuple[str, ...]:
    single = [row.key for row in TABLE if row.key != "barrel_temperature"]
    return (*single, *(f"barrel_temperature.{zone}" for zone in range(1, ZONES + 1)))


KEYS = _keys()
_SIGMA = np.array([ROWS[key.split(".")[0]].sigma for key in KEYS])
_LAG_1 = np.array([ROWS[key.split(".")[0]].lag_1 for key in KEYS])
_FRESH = np.sqrt(1.0 - _LAG_1**2)
_RESOLUTION = {key: ROWS[key.split(".")[0]].resolution for key in KEYS}

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
