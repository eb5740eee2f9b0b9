"""How much each reported quantity varies from shot to shot on a sound press, and how much a shot takes after
the one before: one table of ranges that the simulated press must keep.

The ranges hold for a press in its steady state, machine-paced, over some hundreds to thousands of shots.

Where sources contradict one another, this is what was taken:

- Lag-1 correlation of fill time: practice says low, the data 0.0 to 0.9 (0.77 to 0.89 in the two stretches
  that keep their time order). The high values are those of stretches cut out by quality class, which keep
  every change of setting in them; a speed-controlled fill at one setting is low. Taken: 0.0 to 0.5.
- Peak pressure, cushion, recovery: data 0.5 to 0.8, practice "medium". Drifts of whole classes are in the
  data here too, so that the data mark the upper end and half of their lower end is the lower one.
- Spread of fill time 0.3 to 2 % (practice), 2 % (data): both are inside. Peak pressure 0.5 to 1.5 %
  (practice), 1 to 2 % (data): the union, as the data are of another polymer.
- Recovery 1 to 4 % (practice), 1 to 8 % (data): practice, as the data's 8 % is one class out of four.
- Cushion: practice calls +-1 mm the outside of acceptable, the data have 0.05 mm: from there to 0.2 mm.
- Shot size: data 0.3 %, which is 0.25 mm of a stroke of 80 mm; a screw stops within 0.02 to 0.2 mm
  (practice).
- Barrel zones: no data (the public table has none that can be believed); practice 0.5 to 2 K of ripple about
  the setpoint and 0.8 to 0.99 for lag-1.
- Cycle time: data 0.03 %, practice 0.05 to 0.5 % with a robot: both.

References
----------
"Data" are the 1,451 shots of B. Polenta et al., Information 13 (2022) 272 (another press and polymer), of
which two ordered stretches were used for lag-1. "Practice" is common practice, no source.
"""

from dataclasses import dataclass
from typing import Literal

Scale = Literal["relative", "absolute"]


@dataclass(frozen=True, slots=True)
class Spread:
    """Ranges of one reported quantity.

    Attributes
    ----------
    key : str
        Message key; that of repeated zones stands for each.
    scale : {'relative', 'absolute'}
        Whether the standard deviation is a share of the mean or in canonical units.
    sigma, lag_1 : tuple of float
        Least and greatest standard deviation and lag-1 correlation.
    basis : str
        Where the ranges are from.
    """

    key: str
    scale: Scale
    sigma: tuple[float, float]
    lag_1: tuple[float, float]
    basis: str


_ZONE = "practice: control ripple 0.5 to 2 K, lag-1 0.8 to 0.99"
_MOLD = "data: 0.1 to 0.4 K, lag-1 0.5 to 0.85; a large mold is slower"
_COOLANT = "practice: a controlled supply is steadier than the mold, and slow"

# fmt: off
SPREADS: tuple[Spread, ...] = (
    Spread("injection_time", "relative", (0.003, 0.02), (0.0, 0.5), "resolved above"),
    Spread("peak_melt_pressure", "relative", (0.005, 0.02), (0.3, 0.8), "resolved above"),
    Spread("switchover_melt_pressure", "relative", (0.005, 0.015), (0.25, 0.8), "practice: medium"),
    Spread("switchover_position", "absolute", (0.03, 0.2), (-0.15, 0.2), "practice: 0.05 to 0.2 mm, low"),
    Spread("hold_melt_pressure", "relative", (0.001, 0.005), (-0.15, 0.2), "practice: below 0.5 %, low"),
    Spread("back_pressure", "relative", (0.003, 0.01), (-0.15, 0.15), "data: 0.5 %, -0.04 to 0.13"),
    Spread("cushion", "absolute", (0.05, 0.2), (0.25, 0.75), "resolved above"),
    Spread("screw_start_position", "absolute", (0.02, 0.2), (0.25, 0.7), "resolved above; lag-1 data"),
    Spread("recovery_time", "relative", (0.01, 0.04), (0.3, 0.7), "resolved above"),
    Spread("screw_torque", "relative", (0.025, 0.05), (0.0, 0.8), "data"),
    Spread("screw_speed", "relative", (0.001, 0.01), (-0.15, 0.2), "practice: below 1 %, low"),
    Spread("mold_open_time", "relative", (0.005, 0.02), (-0.15, 0.3), "practice: 1 % automatic, low"),
    Spread("cycle_time", "relative", (0.0003, 0.005), (-0.15, 0.3), "resolved; lag-1 data 0.17 to 0.21"),
    Spread("clamp_force", "relative", (0.002, 0.015), (0.1, 0.65), "data"),
    Spread("part_weight", "relative", (0.001, 0.003), (0.1, 0.7), "practice: 0.1 to 0.3 %, medium"),
    Spread("barrel_temperature", "absolute", (0.3, 2.0), (0.8, 0.99), _ZONE),
    Spread("nozzle_temperature", "absolute", (0.3, 2.0), (0.8, 0.99), _ZONE),
    Spread("mold_core_temperature", "absolute", (0.1, 0.4), (0.5, 0.95), _MOLD),
    Spread("mold_cavity_temperature", "absolute", (0.1, 0.4), (0.5, 0.95), _MOLD),
    Spread("coolant_supply_temperature", "absolute", (0.05, 0.4), (0.6, 0.99), _COOLANT),
    Spread("coolant_return_temperature", "absolute", (0.05, 0.4), (0.5, 0.99), _COOLANT),
    Spread("coolant_flow", "relative", (0.01, 0.03), (0.5, 0.95), "practice: 1 to 3 %, high"),
    Spread("ambient_temperature", "absolute", (0.1, 3.0), (0.8, 1.0), "practice: about 1"),
)
# fmt: on

TIMERS = ("hold_time", "cooling_time")
"""Carry no variation of their own while nobody moves them and recovery ends before they do."""
