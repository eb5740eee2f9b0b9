"""The stages of one shot, each as the facts that the next one needs."""

from dataclasses import dataclass

from simulator.filling import Fill
from simulator.materials import Blend
from simulator.plant import Machine, Mold, Settings


@dataclass(frozen=True, slots=True, kw_only=True)
class Setup:
    """What a run fixes: machine, mold, blend and settings."""

    machine: Machine
    mold: Mold
    blend: Blend
    settings: Settings


@dataclass(frozen=True, slots=True, kw_only=True)
class Injection:
    """Fill: screw travel, what it took, and the melt it moved.

    `viscosity` is against the usual lot; `air_share` the part of the melt before the screw that is air;
    `filled_m3` what had reached the mold at switchover.
    """

    start_mm: float
    switchover_mm: float
    fill: Fill
    viscosity: float
    melt_c: float
    air_share: float
    filled_m3: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Pack:
    """Hold: pressure at the screw tip and frozen into the disc, melt left, disc with its flash."""

    hold_mpa: float
    cavity_mpa: float
    cushion_mm: float
    weight_g: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Recovery:
    """How long the screw turned, and by how much it fell short of its start position before it gave up."""

    time_s: float
    short_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Timing:
    """How long each part of the cycle took; `closed_s` is the time in the mold after fill."""

    cooling_s: float
    closed_s: float
    open_s: float
    cycle_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Coolant:
    """Both circuits together, as one gauge on the manifold sees them."""

    supply_c: float
    return_c: float
    flow_l_min: float
