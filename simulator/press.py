"""One shot of one press: state and settings in, new state and what the shot was out. Pure; chance comes in.

SI units inside where names say so; pressures of settings and reports are melt pressures in MPa.

Assumed, not published: the small couplings listed as constants below.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from simulator import noise
from simulator.disc import Molding
from simulator.filling import fill
from simulator.health import Health
from simulator.heat import circulate, conductance_w_k, half_after, heat_flow_w
from simulator.materials import Blend, consistency_at_pa_sn, density_at_kg_m3
from simulator.noise import Wobble
from simulator.plant import Settings
from simulator.readings import PA_PER_MPA, readings
from simulator.stages import Coolant, Injection, Pack, Setup, Timing

SHEAR_RETAINED = 0.5  # part of the shear heat that reaches the rim; the rest goes into the skin
RIPPLE_SEEN_BY_MELT = 0.08  # a zone's control ripple is faster than the barrel's steel
ZONE_TIME_S = 900.0
FREEZE_OVER_MOLD_K = 80.0  # gate freeze, over mold temperature
PACK_LOSS_MPA = 14.0  # from screw tip to cavity at gate freeze, usual melt
LEAK_MPA_PER_MM = 0.9  # pressure lost in the cavity per mm of leak past the check ring
REST_HEAT_K = 5.0  # melt that waits in the barrel gets hotter by up to this
REST_TIME_S = 600.0
REST_SHOTS = 4.0  # and is used up with this time constant
USUAL_RECOVERY_S = 18.0  # 80 mm at 60 turns a minute
STARTUP_SHOTS = 25


@dataclass(frozen=True, slots=True, kw_only=True)
class PressState:
    """Everything that one shot hands to the next.

    Attributes
    ----------
    zones_c : tuple of float
        Barrel steel, without control ripple.
    core_c, cavity_c : float
        The two halves of the mold, without their short-term wobble.
    rest_k : float
        Extra heat of melt that waited in the barrel.
    shots_since_start : int
    noise : ndarray
        State of the autoregressions, one a key of `noise.KEYS`.
    """

    zones_c: tuple[float, ...]
    core_c: float
    cavity_c: float
    rest_k: float
    shots_since_start: int
    noise: npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """One finished shot: what the press reports, what the disc went through, and chance in how it sets."""

    cycle_time_s: float
    values: dict[str, float]
    molding: Molding
    lay_mm: float
    spread_mm: float
    ring_missed: bool
    startup: bool


def cold_start(setup: Setup, rng: np.random.Generator) -> PressState:
    """A press with its barrel up to temperature and its mold at coolant temperature."""
    settings = setup.settings
    return PressState(
        zones_c=settings.barrel_temperatures_c,
        core_c=settings.coolant_supply_temperature_c,
        cavity_c=settings.coolant_supply_temperature_c,
        rest_k=REST_HEAT_K,
        shots_since_start=0,
        noise=noise.first(rng),
    )


def stand_still(state: PressState, setup: Setup, *, idle_s: float) -> PressState:
    """A stop: the mold goes to coolant temperature, the melt in the barrel gets hotter."""
    coolant_c = setup.settings.coolant_supply_temperature_c
    kept = math.exp(-idle_s * conductance_w_k(setup.mold, 1.0) / setup.mold.half_heat_j_k)
    return replace(
        state,
        core_c=coolant_c + (state.core_c - coolant_c) * kept,
        cavity_c=coolant_c + (state.cavity_c - coolant_c) * kept,
        rest_k=REST_HEAT_K * (1 - math.exp(-idle_s / REST_TIME_S)),
        shots_since_start=0,
    )


def shoot(
    state: PressState, setup: Setup, health: Health, *, ambient_c: float, rng: np.random.Generator
) -> tuple[PressState, Outcome]:
    """Make one shot.

    Parameters
    ----------
    state : PressState
    setup : Setup
    health : Health
        What is wrong at this moment.
    ambient_c : float
        Temperature of the hall; the coolant supply feels a little of it.
    rng : numpy.random.Generator

    Returns
    -------
    PressState
    Outcome
    """
    walk, wobble = noise.step(state.noise, rng)
    missed = bool(rng.random() < health.ring_miss_rate)
    leak_mm = health.ring_leak_mm + (2.5 * (1 + rng.random()) if missed else 0.0)
    core_c = state.core_c + wobble["mold_core_temperature"]
    cavity_c = state.cavity_c + wobble["mold_cavity_temperature"]
    shot = _inject(state, setup, health, wobble)
    pack = _pack(setup, shot, wobble, leak_mm=leak_mm, wall_c=(core_c + cavity_c) / 2)
    timing = _time(
        setup,
        health,
        shot,
        wobble,
        recovered_mm=setup.settings.screw_start_position_mm - pack.cushion_mm,
        rng=rng,
    )
    molding = _molding(setup, health, shot, pack, timing=timing, core_c=core_c, cavity_c=cavity_c)
    heat_w = heat_flow_w(setup, molding, cycle_s=timing.cycle_s)
    coolant = circulate(setup, health, wobble, ambient_c=ambient_c, heat_w=heat_w)
    after = _after(state, setup, health, coolant, heat_w=heat_w, cycle_s=timing.cycle_s, walk=walk)
    outcome = Outcome(
        cycle_time_s=timing.cycle_s,
        values=readings(
            setup,
            wobble,
            zones_c=state.zones_c,
            shot=shot,
            pack=pack,
            timing=timing,
            molding=molding,
            coolant=coolant,
            ambient_c=ambient_c,
        ),
        molding=molding,
        lay_mm=wobble["disc_dome"],
        spread_mm=wobble["disc_diameter"],
        ring_missed=missed,
        startup=state.shots_since_start < STARTUP_SHOTS,
    )
    return after, outcome


def _melt_c(state: PressState, settings: Settings, wobble: Wobble) -> float:
    zones = range(1, len(state.zones_c) + 1)
    ripple_k = sum(wobble[f"barrel_temperature.{zone}"] for zone in zones) / len(state.zones_c)
    screw_k = 0.04 * settings.screw_speed_per_min + 0.3 * settings.back_pressure_mpa
    return sum(state.zones_c) / len(state.zones_c) + RIPPLE_SEEN_BY_MELT * ripple_k + screw_k + state.rest_k


def _inject(state: PressState, setup: Setup, health: Health, wobble: Wobble) -> Injection:
    settings, blend, machine = setup.settings, setup.blend, setup.machine
    melt_c = _melt_c(state, settings, wobble)
    viscosity = health.viscosity_factor * (1 + wobble["blend_mix"])
    start_mm = settings.screw_start_position_mm + wobble["screw_start_position"]
    switchover_mm = settings.switchover_position_mm + wobble["switchover_position"]
    swept_m3 = machine.screw_area_m2 * (start_mm - switchover_mm) / 1000
    result = fill(
        setup.mold.path,
        consistency_pa_sn=consistency_at_pa_sn(blend, melt_c) * viscosity,
        flow_index=blend.flow_index,
        diffusivity_m2_s=blend.diffusivity_m2_s,
        speed_flow_m3_s=machine.screw_area_m2 * settings.injection_speed_mm_s / 1000,
        pressure_cap_pa=min(settings.injection_pressure_limit_mpa, machine.greatest_melt_pressure_mpa)
        * PA_PER_MPA,
        volume_m3=swept_m3,
    )
    return Injection(
        start_mm=start_mm, switchover_mm=switchover_mm, fill=result, viscosity=viscosity, melt_c=melt_c
    )


def _pack(setup: Setup, shot: Injection, wobble: Wobble, *, leak_mm: float, wall_c: float) -> Pack:
    hold_mpa = setup.settings.hold_pressure_mpa * (1 + wobble["hold_melt_pressure"])
    cavity_mpa = max(hold_mpa - PACK_LOSS_MPA * shot.viscosity - LEAK_MPA_PER_MM * leak_mm, 0.0)
    density = density_at_kg_m3(setup.blend, wall_c + FREEZE_OVER_MOLD_K, cavity_mpa * PA_PER_MPA)
    mass_kg = setup.mold.path.volume_m3 * density * (1 + wobble["part_weight"])
    melt_density = density_at_kg_m3(setup.blend, shot.melt_c, hold_mpa * PA_PER_MPA)
    travel_mm = mass_kg / melt_density / setup.machine.screw_area_m2 * 1000
    cushion_mm = shot.start_mm - travel_mm - leak_mm + wobble["cushion"]
    if cushion_mm < 0.0:  # the screw is at its end: what is missing in travel is missing in the disc
        mass_kg *= 1 + cushion_mm / travel_mm
        cavity_mpa, cushion_mm = cavity_mpa * 0.4, 0.0
    return Pack(hold_mpa=hold_mpa, cavity_mpa=cavity_mpa, cushion_mm=cushion_mm, weight_g=mass_kg * 1000)


def _time(
    setup: Setup,
    health: Health,
    shot: Injection,
    wobble: Wobble,
    *,
    recovered_mm: float,
    rng: np.random.Generator,
) -> Timing:
    settings, machine = setup.settings, setup.machine
    recovery_s = (
        USUAL_RECOVERY_S * (recovered_mm / 80) * (60 / settings.screw_speed_per_min) * shot.viscosity**0.5
    )
    recovery_s *= 1 + wobble["recovery_time"]
    cut_s = max(0.0, health.cut_s * (1 + 0.4 * rng.standard_normal()))
    cooling_s = max(settings.cooling_time_s - cut_s, recovery_s + 0.5)
    usual = machine.mold_open_time_s * (1 + wobble["mold_open_time"])
    open_s = usual * math.exp(health.pace_spread * rng.standard_normal())
    held_s = shot.fill.time_s + settings.hold_time_s + cooling_s
    return Timing(
        recovery_s=recovery_s,
        cooling_s=cooling_s,
        open_s=open_s,
        cycle_s=machine.motion_time_s + wobble["machine_motion"] + held_s + open_s,
    )


def _molding(
    setup: Setup,
    health: Health,
    shot: Injection,
    pack: Pack,
    *,
    timing: Timing,
    core_c: float,
    cavity_c: float,
) -> Molding:
    return Molding(
        melt_c=shot.melt_c + _shear_heat_k(setup.blend, shot.fill.peak_pa),
        core_c=core_c,
        cavity_c=cavity_c,
        time_in_mold_s=setup.settings.hold_time_s + timing.cooling_s,
        fill_s=shot.fill.time_s,
        pack_mpa=pack.cavity_mpa,
        weight_g=pack.weight_g,
        shrink_factor=health.shrink_factor,
    )


def _shear_heat_k(blend: Blend, drop_pa: float) -> float:
    return SHEAR_RETAINED * drop_pa / (blend.density_kg_m3 * blend.heat_capacity_j_kgk)


def _after(
    state: PressState,
    setup: Setup,
    health: Health,
    coolant: Coolant,
    *,
    heat_w: float,
    cycle_s: float,
    walk: npt.NDArray[np.float64],
) -> PressState:
    middle_c = (coolant.supply_c + coolant.return_c) / 2
    kept = math.exp(-cycle_s / ZONE_TIME_S)
    core_c, cavity_c = (
        half_after(now_c, setup.mold, flow_share=share, coolant_c=middle_c, heat_w=heat_w, cycle_s=cycle_s)
        for now_c, share in (
            (state.core_c, health.core_flow_share),
            (state.cavity_c, health.cavity_flow_share),
        )
    )
    targets = setup.settings.barrel_temperatures_c
    return PressState(
        zones_c=tuple(to + (now - to) * kept for now, to in zip(state.zones_c, targets, strict=True)),
        core_c=core_c,
        cavity_c=cavity_c,
        rest_k=state.rest_k * math.exp(-1 / REST_SHOTS),
        shots_since_start=state.shots_since_start + 1,
        noise=walk,
    )
