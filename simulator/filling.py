"""Fill of a center-gated disc with a power-law melt, a frozen skin and two limits: speed and pressure.

The screw follows its speed setpoint until the pressure that takes would pass a cap; from there the pressure
is the cap and the flow what it allows. The cap is the pressure setpoint or what the press can give,
whichever is less, so three regimes come out of one rule: free, held by the setpoint, held by the press.

References
----------
Lubrication flow of a power-law fluid between discs and in a tube: R. B. Bird, R. C. Armstrong, O. Hassager,
Dynamics of Polymeric Liquids, volume 1 (Wiley, 1987), chapter 4. The frozen skin 2 c sqrt(a t) is the growth
law of a solidifying layer (Carslaw and Jaeger, Conduction of Heat in Solids, section 11.2) with c = 0.3
assumed.
"""

import math
from dataclasses import dataclass

SKIN_CONSTANT = 0.3  # assumed; at 0.5 a 2.2 mm plate would freeze shut during a 6 s fill
STEPS = 12
_LEAST_GAP_SHARE = 0.2  # thinner than this the disc is a short shot anyway


@dataclass(frozen=True, slots=True, kw_only=True)
class FlowPath:
    """Where the melt goes: a tube (nozzle and sprue), then the plate from the gate outwards, then the rim."""

    tube_radius_m: float
    tube_length_m: float
    gate_radius_m: float
    plate_radius_m: float
    plate_gap_m: float
    volume_m3: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Fill:
    """Result of one fill.

    Attributes
    ----------
    time_s : float
        Start of injection to switchover.
    peak_pa, end_pa : float
        Highest melt pressure, and the one at switchover.
    limited_share : float
        Part of the volume, 0 to 1, that flowed at the pressure cap.
    """

    time_s: float
    peak_pa: float
    end_pa: float
    limited_share: float


def disc_drop_pa(
    *,
    consistency_pa_sn: float,
    flow_index: float,
    gap_m: float,
    flow_m3_s: float,
    inner_m: float,
    outer_m: float,
) -> float:
    """Pressure drop of radial power-law flow between two plates, from radius `inner_m` to `outer_m`."""
    n = flow_index
    wall_rate = (2 * n + 1) / n * flow_m3_s / (math.pi * gap_m * gap_m)
    reach = (outer_m ** (1 - n) - inner_m ** (1 - n)) / (1 - n)
    return float(2 * consistency_pa_sn / gap_m * wall_rate**n * reach)


def tube_drop_pa(
    *, consistency_pa_sn: float, flow_index: float, radius_m: float, length_m: float, flow_m3_s: float
) -> float:
    """Pressure drop of power-law flow in a round tube."""
    n = flow_index
    wall_rate = (3 * n + 1) / n * flow_m3_s / (math.pi * radius_m**3)
    return float(2 * consistency_pa_sn * length_m / radius_m * wall_rate**n)


def skin_m(*, diffusivity_m2_s: float, time_s: float, constant: float = SKIN_CONSTANT) -> float:
    """Frozen skin on one wall after a contact time."""
    return 2 * constant * math.sqrt(diffusivity_m2_s * time_s)


def resistance(
    path: FlowPath, *, consistency_pa_sn: float, flow_index: float, skin_on_wall_m: float, filled_m3: float
) -> float:
    """Pressure at unit flow with this much filled; the pressure at flow Q is `resistance * Q**n`.

    The rim is thick and short in the direction of flow, so that it adds nothing once the plate is full.
    """
    gap_m = max(path.plate_gap_m - 2 * skin_on_wall_m, _LEAST_GAP_SHARE * path.plate_gap_m)
    front_m = min(path.plate_radius_m, math.sqrt(filled_m3 / (math.pi * path.plate_gap_m)))
    tube = tube_drop_pa(
        consistency_pa_sn=consistency_pa_sn,
        flow_index=flow_index,
        radius_m=path.tube_radius_m,
        length_m=path.tube_length_m,
        flow_m3_s=1.0,
    )
    if front_m <= path.gate_radius_m:
        return tube
    return tube + disc_drop_pa(
        consistency_pa_sn=consistency_pa_sn,
        flow_index=flow_index,
        gap_m=gap_m,
        flow_m3_s=1.0,
        inner_m=path.gate_radius_m,
        outer_m=front_m,
    )


def fill(
    path: FlowPath,
    *,
    consistency_pa_sn: float,
    flow_index: float,
    diffusivity_m2_s: float,
    speed_flow_m3_s: float,
    pressure_cap_pa: float,
    volume_m3: float,
    skin_constant: float = SKIN_CONSTANT,
) -> Fill:
    """Fill `volume_m3` in equal steps of volume.

    Parameters
    ----------
    speed_flow_m3_s : float
        Flow the speed setpoint asks for.
    pressure_cap_pa : float
        Lesser of the pressure setpoint and what the press can give.
    skin_constant : float
        0 turns the frozen skin off.

    Returns
    -------
    Fill
    """
    step_m3 = volume_m3 / STEPS
    time_s = peak_pa = pressure_pa = 0.0
    limited = 0
    for number in range(1, STEPS + 1):
        skin = skin_m(diffusivity_m2_s=diffusivity_m2_s, time_s=time_s, constant=skin_constant)
        per_flow = resistance(
            path,
            consistency_pa_sn=consistency_pa_sn,
            flow_index=flow_index,
            skin_on_wall_m=skin,
            filled_m3=number * step_m3,
        )
        flow, pressure_pa = speed_flow_m3_s, per_flow * speed_flow_m3_s**flow_index
        if pressure_pa > pressure_cap_pa:
            flow, pressure_pa = (pressure_cap_pa / per_flow) ** (1 / flow_index), pressure_cap_pa
            limited += 1
        time_s += step_m3 / flow
        peak_pa = max(peak_pa, pressure_pa)
    return Fill(time_s=time_s, peak_pa=peak_pa, end_pa=pressure_pa, limited_share=limited / STEPS)
