"""Injection: what the screw drives into the mold, against which pressure cap, and how hot and stiff it is.

Assumed, not published: the constants below. Shear heat is pressure drop over density and heat capacity.
"""

import math

from simulator.filling import Melt, fill
from simulator.health import Health, PerZone
from simulator.materials import Blend, consistency_at_pa_sn
from simulator.noise import Wobble
from simulator.plant import PA_PER_MPA, ZONES, Settings
from simulator.recovery import air_share, back_pressure_mpa
from simulator.stages import Injection, Setup

SHEAR_RETAINED = 0.5  # part of the shear heat that reaches the rim; the rest goes into the skin
RIPPLE_SEEN_BY_MELT = 0.08  # a zone's control ripple is faster than the barrel's steel
NOZZLE_SHARE = 0.1  # of the melt's temperature that is the nozzle's
SCREW_K = 1.5  # heat by the screw: always,
SCREW_K_MIN = 0.04  # ... by a turn a minute,
SCREW_K_PER_MPA = 0.1  # ... and by back pressure
LEAST_START_MM = 2.0  # of a screw that found nothing to draw in
AIR_THINS = 4.0  # melt with air in it resists less, by this many times the air's share
SLIP_SHARE = 0.5  # of pump strength lost that shows in speed at the press's full pressure


def melt_at_tip_c(
    settings: Settings, health: Health, wobble: Wobble, *, zones_c: PerZone, rest_k: float
) -> float:
    """Temperature of the melt before the screw: that of the steel, warmed by the screw and by waiting."""
    *barrel_c, nozzle_c = zones_c
    ripple_k = sum(wobble[f"barrel_temperature.{zone}"] for zone in range(1, ZONES + 1)) / ZONES
    steel_c = (1 - NOZZLE_SHARE) * sum(barrel_c) / ZONES + NOZZLE_SHARE * nozzle_c
    screw_k = SCREW_K + SCREW_K_MIN * settings.screw_speed_per_min
    screw_k += SCREW_K_PER_MPA * back_pressure_mpa(settings, health)
    return steel_c + RIPPLE_SEEN_BY_MELT * ripple_k + screw_k + rest_k


def inject(
    setup: Setup, health: Health, wobble: Wobble, *, melt_c: float, short_mm: float, leak_mm: float
) -> Injection:
    """Drive the screw from its start position to switchover.

    Parameters
    ----------
    setup : Setup
    health : Health
        Pump, ring, nozzle, vents, feed and the state of the material.
    wobble : Wobble
    melt_c : float
    short_mm : float
        By which the screw starts short of its set position.
    leak_mm : float
        Screw travel lost past the check ring in the whole shot.

    Returns
    -------
    Injection
    """
    settings, machine = setup.settings, setup.machine
    start_mm = settings.screw_start_position_mm + wobble["screw_start_position"] - short_mm
    start_mm = max(start_mm, LEAST_START_MM)
    switchover_mm = min(settings.switchover_position_mm + wobble["switchover_position"], start_mm - 1.0)
    swept_m3 = machine.screw_area_m2 * (start_mm - switchover_mm) / 1000
    air = air_share(setup, health, wobble)
    # a ring leaks through fill and hold, a nozzle mostly where the pressure is highest
    lost_m3 = machine.screw_area_m2 * leak_mm / 2000 + health.nozzle_leak_cm3 * 1e-6
    arriving = max(1.0 - air - lost_m3 / swept_m3, 0.1)
    viscosity = _viscosity(setup.blend, health, wobble) * max(1 - AIR_THINS * air, 0.3)
    cap_pa = pressure_cap_mpa(setup, health) * PA_PER_MPA
    result = fill(
        setup.mold.path,
        _melt(setup.blend, melt_c, viscosity),
        speed_flow_m3_s=arriving * _speed_mm_s(setup, health, cap_pa) * machine.screw_area_m2 / 1000,
        pressure_cap_pa=cap_pa,
        volume_m3=arriving * swept_m3,
        vent_share=health.vent_share,
        longest_s=machine.injection_timeout_s,
    )
    return Injection(
        start_mm=start_mm,
        switchover_mm=start_mm - (start_mm - switchover_mm) * result.filled_share,
        fill=result,
        viscosity=viscosity,
        melt_c=melt_c,
        air_share=air,
        filled_m3=arriving * swept_m3 * result.filled_share,
    )


def pressure_cap_mpa(setup: Setup, health: Health) -> float:
    """The lesser of the pressure setpoint and what the press can give today."""
    greatest_mpa = setup.machine.greatest_melt_pressure_mpa * health.pump_strength
    return min(setup.settings.injection_pressure_limit_mpa, greatest_mpa)


def _speed_mm_s(setup: Setup, health: Health, cap_pa: float) -> float:
    """Screw speed: a worn pump or hot oil slips, the more the higher the pressure it works against."""
    worked = cap_pa / PA_PER_MPA / setup.machine.greatest_melt_pressure_mpa
    return setup.settings.injection_speed_mm_s * (1 - SLIP_SHARE * (1 - health.pump_strength) * worked)


def _viscosity(blend: Blend, health: Health, wobble: Wobble) -> float:
    dry = math.exp(-blend.thinned_per_percent * blend.wet_percent(health.moisture_percent))
    return health.viscosity_factor * dry * max(1 + wobble["blend_mix"] * health.mix_spread, 0.3)


def _melt(blend: Blend, melt_c: float, viscosity: float) -> Melt:
    return Melt(
        consistency_pa_sn=consistency_at_pa_sn(blend, melt_c) * viscosity,
        flow_index=blend.flow_index,
        diffusivity_m2_s=blend.diffusivity_m2_s,
        slope_per_k=blend.consistency_slope_per_k,
        heating_k_per_pa=heating_k_per_pa(blend),
    )


def heating_k_per_pa(blend: Blend) -> float:
    """Rise of melt temperature by pressure drop, at the end of the way."""
    return SHEAR_RETAINED / (blend.density_kg_m3 * blend.heat_capacity_j_kgk)
