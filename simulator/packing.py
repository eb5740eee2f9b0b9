"""Hold: what pressure freezes into the disc, what the disc weighs, and how much melt is left.

Melt is pushed in until the gate has frozen; from there on the disc is a closed vessel, whose mass is its
volume times the density at the temperature and pressure of that moment. What the hold timer cuts short, a
check ring lets by, or a nozzle loses is missing in pressure.

Assumed, not published: the constants below. Gate freeze is the handbook formula of a plate's middle
(`simulator.cooling`), the density is Tait's equation (`simulator.materials`).
"""

from simulator.cooling import middle_time_s, plate_share, rim_share
from simulator.health import Health
from simulator.materials import Blend, density_at_kg_m3
from simulator.noise import Wobble
from simulator.plant import PA_PER_MPA, Mold
from simulator.stages import Injection, Pack, Setup

NO_FLOW_OVER_MOLD_K = 80.0  # above mold temperature; stiffer than that, melt no longer flows
LOSS_MPA = 14.0  # from screw tip to cavity at gate freeze, usual melt
STEEP = 0.85  # part of the melt's slope with temperature that this loss feels
LEAK_MPA_PER_MM = 0.9  # pressure lost in the cavity per mm of leak past the check ring
NOZZLE_MPA_PER_CM3 = 0.8
UNFILLED_MPA = 25.0  # lost per share of the cavity that has to be filled at hold pressure
USUAL_UNFILLED = 0.03
FILLS_SHARE = 0.25  # of the cavity that hold can still fill; what lacks beyond is missing in the disc
TRAPPED_AIR_MPA = 2.5  # lost at the end of the way with all vents blocked
CLAMPED_SHARE = 0.75  # mean pressure on the projected area at its greatest, of that frozen in
FLASH_G_PER_KN = 0.010
FLASH_G_PER_MM = 12.0
FLASH_MPA_PER_G = 0.8
BUBBLE_SHARE = 0.15  # of the air in the melt that is still there as bubbles in the disc
FOAM_PER_PERCENT = 0.05  # mass that a disc of wet resin lacks, by percent of moisture
MIX_SHARE = 0.3  # density of a mix against how its viscosity differs
LEAST_SHARE = 0.02  # of a disc, where there is nearly no melt
SPENT = 0.4  # of the pressure that is left when the screw has come to its end


def pack(
    setup: Setup, health: Health, shot: Injection, wobble: Wobble, *, leak_mm: float, wall_c: float
) -> Pack:
    """Hold one shot.

    Parameters
    ----------
    setup : Setup
    health : Health
        Nozzle, vents, clamp, mix and moisture.
    shot : Injection
    wobble : Wobble
    leak_mm : float
        Screw travel lost past the check ring in this shot.
    wall_c : float
        Mean of the two halves of the mold.

    Returns
    -------
    Pack
    """
    hold_mpa = setup.settings.hold_pressure_mpa * (1 + wobble["hold_melt_pressure"])
    seal_s = gate_seal_s(setup.mold, setup.blend, melt_c=shot.melt_c, wall_c=wall_c)
    held = min(1.0, setup.settings.hold_time_s / seal_s)
    lost_mpa = _lost_mpa(setup, health, shot) + LEAK_MPA_PER_MM * leak_mm
    cavity_mpa = max(hold_mpa * held - lost_mpa, 0.0)
    flash_g = _flash_g(setup, health, shot, cavity_mpa)
    cavity_mpa = max(cavity_mpa - FLASH_MPA_PER_G * flash_g, 0.0)
    sealed_c = _mean_c(setup.mold, setup.blend, melt_c=shot.melt_c, wall_c=wall_c, time_s=held * seal_s)
    mass_kg = setup.mold.path.volume_m3 * density_at_kg_m3(setup.blend, sealed_c, cavity_mpa * PA_PER_MPA)
    mass_kg *= 1 + wobble["part_weight"] + MIX_SHARE * (health.mix_spread - 1) * wobble["blend_mix"]
    foam = FOAM_PER_PERCENT * setup.blend.wet_percent(health.moisture_percent)
    short = max(1.0 - FILLS_SHARE - shot.filled_m3 / setup.mold.path.volume_m3, 0.0)
    mass_kg *= max(1 - BUBBLE_SHARE * shot.air_share - foam - short, LEAST_SHARE)
    mass_kg += flash_g / 1000
    density = density_at_kg_m3(setup.blend, shot.melt_c, hold_mpa * PA_PER_MPA) * (1 - shot.air_share)
    area_m2 = setup.machine.screw_area_m2
    travel_mm = (mass_kg / density + health.nozzle_leak_cm3 * 1e-6) / area_m2 * 1000
    cushion_mm = shot.start_mm - travel_mm - leak_mm + wobble["cushion"]
    if cushion_mm < 0.0:  # the screw is at its end: what is missing in travel is missing in the disc
        mass_kg *= max(1 + cushion_mm / travel_mm, LEAST_SHARE)
        hold_mpa, cavity_mpa, cushion_mm = SPENT * hold_mpa, SPENT * cavity_mpa, 0.0
    return Pack(hold_mpa=hold_mpa, cavity_mpa=cavity_mpa, cushion_mm=cushion_mm, weight_g=mass_kg * 1000)


def gate_seal_s(mold: Mold, blend: Blend, *, melt_c: float, wall_c: float) -> float:
    """Time after fill until the gate has frozen through."""
    return middle_time_s(
        thickness_m=mold.path.plate_gap_m,
        diffusivity_m2_s=blend.diffusivity_m2_s,
        melt_c=melt_c,
        wall_c=wall_c,
        middle_c=wall_c + NO_FLOW_OVER_MOLD_K,
    )


def _lost_mpa(setup: Setup, health: Health, shot: Injection) -> float:
    """From screw tip to cavity: by stiffness, what fill left to do, a leaking nozzle and trapped air."""
    stiffness = shot.viscosity * setup.blend.stiffness(shot.melt_c, steep=STEEP)
    unfilled = 1.0 - shot.filled_m3 / setup.mold.path.volume_m3
    lost_mpa = LOSS_MPA * stiffness + UNFILLED_MPA * (unfilled - USUAL_UNFILLED)
    return lost_mpa + NOZZLE_MPA_PER_CM3 * health.nozzle_leak_cm3 + TRAPPED_AIR_MPA * (1 - health.vent_share)


def _flash_g(setup: Setup, health: Health, shot: Injection, cavity_mpa: float) -> float:
    """Melt pressed out at the parting line: where the clamp is too weak, or where dirt keeps it open."""
    opening_kn = CLAMPED_SHARE * cavity_mpa * PA_PER_MPA * setup.mold.projected_m2 / 1000
    weak_kn = max(0.0, opening_kn - setup.machine.clamp_force_kn * health.clamp_share)
    return (FLASH_G_PER_KN * weak_kn + FLASH_G_PER_MM * health.parting_gap_mm) / shot.viscosity


def _mean_c(mold: Mold, blend: Blend, *, melt_c: float, wall_c: float, time_s: float) -> float:
    """Mean temperature of the whole disc a time after fill."""
    path, a = mold.path, blend.diffusivity_m2_s
    in_plate = path.plate_volume_m3 / path.volume_m3
    plate = plate_share(thickness_m=path.plate_gap_m, diffusivity_m2_s=a, time_s=time_s)
    rim = rim_share(side_m=path.rim_side_m, diffusivity_m2_s=a, time_s=time_s)
    return wall_c + (melt_c - wall_c) * (in_plate * plate + (1 - in_plate) * rim)
