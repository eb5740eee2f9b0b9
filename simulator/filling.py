"""Fill of a center-gated disc with a power-law melt, a frozen skin and two limits: speed and pressure.

The melt goes through a tube (nozzle and sprue), outwards between the two faces of the plate, then into the
rim. On its way it heats itself by shear and leaves a frozen skin on the walls; air that cannot get out pushes
back. The screw follows its speed setpoint until the pressure that takes would pass a cap; from there the
pressure is the cap and the flow what it allows. The cap is the pressure setpoint or what the press can give,
whichever is less, so three regimes come out of one rule: free, held by the setpoint, held by the press.

Simplified: the skin is that of the gate everywhere; the melt's consistency is that of its mean temperature
on the way.

References
----------
Lubrication flow of a power-law fluid between discs and in a tube: R. B. Bird, R. C. Armstrong, O. Hassager,
Dynamics of Polymeric Liquids, volume 1 (Wiley, 1987), chapter 4. The rim is the same flow in a wide slot. The
frozen skin 2 c sqrt(a t) is the growth law of a solidifying layer (Carslaw and Jaeger, Conduction of Heat in
Solids, section 11.2) with c = 0.3 assumed. Heating without loss: pressure drop over density and heat
capacity, from the energy balance of a flow.
"""

import math
from dataclasses import dataclass

SKIN_CONSTANT = 0.3  # assumed; at 0.5 a 2.2 mm plate would freeze shut during a 6 s fill
STEPS = 12
AIR_PA = 1.013e5
AIR_EXPONENT = 1.3  # between isothermal and adiabatic; assumed
AIR_LEFT = 0.04  # of the cavity at switchover
_LEAST_GAP_SHARE = 0.2  # thinner than this the disc is a short shot anyway


@dataclass(frozen=True, slots=True, kw_only=True)
class FlowPath:
    """Where the melt goes: a tube (nozzle and sprue), then the plate from the gate outwards, then the rim.

    `rim_side_m` is the side of the square that the rim's section is taken for.
    """

    tube_radius_m: float
    tube_length_m: float
    gate_radius_m: float
    plate_radius_m: float
    plate_gap_m: float
    rim_side_m: float
    volume_m3: float

    @property
    def plate_volume_m3(self) -> float:
        """Of the flight plate alone."""
        return math.pi * self.plate_radius_m**2 * self.plate_gap_m


@dataclass(frozen=True, slots=True, kw_only=True)
class Melt:
    """How the melt flows in this shot.

    Attributes
    ----------
    consistency_pa_sn, flow_index : float
        Power law at the temperature at which it leaves the barrel.
    slope_per_k : float
        Relative change of consistency by a kelvin.
    heating_k_per_pa : float
        Rise of its mean temperature on the way by pressure drop; 0 turns shear heating off.
    diffusivity_m2_s, skin_constant : float
        Growth of the frozen skin; a constant of 0 turns it off.
    """

    consistency_pa_sn: float
    flow_index: float
    diffusivity_m2_s: float
    slope_per_k: float = 0.0
    heating_k_per_pa: float = 0.0
    skin_constant: float = SKIN_CONSTANT


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
    filled_share : float
        Part of the volume that had been filled when the press gave up; 1 where it did not.
    """

    time_s: float
    peak_pa: float
    end_pa: float
    limited_share: float
    filled_share: float = 1.0


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


def slot_drop_pa(
    *,
    consistency_pa_sn: float,
    flow_index: float,
    gap_m: float,
    width_m: float,
    length_m: float,
    flow_m3_s: float,
) -> float:
    """Pressure drop of power-law flow in a wide slot."""
    n = flow_index
    wall_rate = (2 * n + 1) / n * 2 * flow_m3_s / (width_m * gap_m * gap_m)
    return float(2 * consistency_pa_sn * length_m / gap_m * wall_rate**n)


def skin_m(*, diffusivity_m2_s: float, time_s: float, constant: float = SKIN_CONSTANT) -> float:
    """Frozen skin on one wall after a contact time."""
    return 2 * constant * math.sqrt(diffusivity_m2_s * time_s)


def air_pa(*, filled_share: float, vent_share: float) -> float:
    """Pressure over the hall's of the air before the melt, where part of the vents is blocked."""
    left = 1.0 - (1.0 - AIR_LEFT) * min(filled_share, 1.0)
    return (1.0 - vent_share) * AIR_PA * (math.pow(left, -AIR_EXPONENT) - 1.0)


def resistance(path: FlowPath, melt: Melt, *, skin_on_wall_m: float, filled_m3: float) -> float:
    """Pressure of the cold-start melt over flow**n, when so much is filled; Pa / (m3/s)**n."""
    k, n = melt.consistency_pa_sn, melt.flow_index
    gap_m = max(path.plate_gap_m - 2 * skin_on_wall_m, _LEAST_GAP_SHARE * path.plate_gap_m)
    total = tube_drop_pa(
        consistency_pa_sn=k,
        flow_index=n,
        radius_m=path.tube_radius_m,
        length_m=path.tube_length_m,
        flow_m3_s=1.0,
    )
    front_m = min(math.sqrt(filled_m3 / (math.pi * path.plate_gap_m)), path.plate_radius_m)
    if front_m > path.gate_radius_m:
        total += disc_drop_pa(
            consistency_pa_sn=k,
            flow_index=n,
            gap_m=gap_m,
            flow_m3_s=1.0,
            inner_m=path.gate_radius_m,
            outer_m=front_m,
        )
    in_rim_m3 = filled_m3 - path.plate_volume_m3
    if in_rim_m3 > 0.0:
        width_m = 2 * math.pi * path.plate_radius_m
        total += slot_drop_pa(
            consistency_pa_sn=k,
            flow_index=n,
            gap_m=path.rim_side_m,
            width_m=width_m,
            length_m=in_rim_m3 / (width_m * path.rim_side_m),
            flow_m3_s=1.0,
        )
    return total


def warmed_pa(cold_pa: float, softening_per_pa: float) -> float:
    """Pressure drop P of a melt that the drop itself softens: P exp(softening P) = the cold melt's drop."""
    drop_pa = cold_pa / (1 + softening_per_pa * cold_pa)
    for _ in range(3):  # Newton's method; starts close
        grown = math.exp(softening_per_pa * drop_pa)
        drop_pa -= (drop_pa * grown - cold_pa) / (grown * (1 + softening_per_pa * drop_pa))
    return drop_pa


def fill(
    path: FlowPath,
    melt: Melt,
    *,
    speed_flow_m3_s: float,
    pressure_cap_pa: float,
    volume_m3: float,
    vent_share: float = 1.0,
    longest_s: float = math.inf,
) -> Fill:
    """Fill `volume_m3` in equal steps of volume.

    Parameters
    ----------
    path : FlowPath
    melt : Melt
    speed_flow_m3_s : float
        Flow the speed setpoint asks for.
    pressure_cap_pa : float
        Lesser of the pressure setpoint and what the press can give.
    volume_m3 : float
        From the start of injection to switchover.
    vent_share : float
        Open part of the vents; 1 lets the air out freely.
    longest_s : float
        The press switches over after this time, wherever the screw is.

    Returns
    -------
    Fill
    """
    n, step_m3 = melt.flow_index, volume_m3 / STEPS
    # the melt warms up along the way: its mean is half of the whole rise
    softening = -melt.slope_per_k * melt.heating_k_per_pa / 2
    time_s = peak_pa = pressure_pa = 0.0
    limited = 0
    for number in range(1, STEPS + 1):
        skin = skin_m(diffusivity_m2_s=melt.diffusivity_m2_s, time_s=time_s, constant=melt.skin_constant)
        per_flow = resistance(path, melt, skin_on_wall_m=skin, filled_m3=number * step_m3)
        air = air_pa(filled_share=number / STEPS, vent_share=vent_share)
        flow = speed_flow_m3_s
        pressure_pa = air + warmed_pa(per_flow * flow**n, softening)
        if pressure_pa > pressure_cap_pa:
            pressure_pa, drop_pa = pressure_cap_pa, max(pressure_cap_pa - air, 0.05 * pressure_cap_pa)
            flow = (drop_pa * math.exp(softening * drop_pa) / per_flow) ** (1 / n)
            limited += 1
        peak_pa = max(peak_pa, pressure_pa)
        if time_s + step_m3 / flow > longest_s:
            filled = (number - 1 + (longest_s - time_s) * flow / step_m3) / STEPS
            return Fill(
                time_s=longest_s,
                peak_pa=peak_pa,
                end_pa=pressure_pa,
                limited_share=limited / number,
                filled_share=filled,
            )
        time_s += step_m3 / flow
    return Fill(time_s=time_s, peak_pa=peak_pa, end_pa=pressure_pa, limited_share=limited / STEPS)
