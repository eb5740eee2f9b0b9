"""One shot of one press: state and settings in, new state and what the shot was out. Pure; chance comes in.

SI units inside where names say so; pressures of settings and reports are melt pressures in MPa. The stages
are in `injection`, `packing`, `recovery`, `cooling` and `disc`; what lasts from shot to shot is in `barrel`
and `heat`.

Assumed, not published: the small couplings listed as constants below.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from simulator import noise
from simulator.barrel import barrel_after, targets_c
from simulator.disc import Molding
from simulator.health import SOUND, Health, PerZone
from simulator.heat import circulate, conductance_w_k, half_after, heat_flow_w, tank_after
from simulator.injection import heating_k_per_pa, inject, melt_at_tip_c
from simulator.noise import Wobble
from simulator.packing import pack
from simulator.readings import readings
from simulator.recovery import recover
from simulator.stages import Coolant, Injection, Pack, Recovery, Setup, Timing

REST_HEAT_K = 5.0  # melt that waits in the barrel gets hotter by up to this
REST_TIME_S = 600.0
REST_SHOTS = 4.0  # and is used up with this time constant
MISS_MM = 2.5  # least leak of a ring that did not seat; at most twice that
WET_SHRINK_PER_PERCENT = 1.0  # of a foamed disc
MIX_SHRINK = 2.0  # strain of a mix against how its viscosity differs
RECOVERY_STEEP = 0.5  # part of the melt's slope with temperature that the turning screw feels
STARTUP_SHOTS = 25


@dataclass(frozen=True, slots=True, kw_only=True)
class PressState:
    """Everything that one shot hands to the next.

    Attributes
    ----------
    zones_c : tuple of float
        Barrel steel, without control ripple, from the hopper to the screw tip; the nozzle last.
    core_c, cavity_c : float
        The two halves of the mold, without their short-term wobble.
    tank_c : float
        Coolant that the chiller holds.
    short_mm : float
        By which the screw is short of its start position, because it was fed too little.
    rest_k : float
        Extra heat of melt that waited in the barrel.
    shots_since_start : int
    noise : ndarray
        State of the autoregressions, one a key of `noise.KEYS`.
    """

    zones_c: PerZone
    core_c: float
    cavity_c: float
    tank_c: float
    short_mm: float
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
    coolant_c = setup.settings.coolant_supply_temperature_c
    return PressState(
        zones_c=targets_c(setup.settings.barrel_temperatures_c),
        core_c=coolant_c,
        cavity_c=coolant_c,
        tank_c=coolant_c,
        short_mm=0.0,
        rest_k=REST_HEAT_K,
        shots_since_start=0,
        noise=noise.first(rng),
    )


def stand_still(state: PressState, setup: Setup, *, idle_s: float, health: Health = SOUND) -> PressState:
    """A stop: the mold goes to coolant temperature, the melt in the barrel gets hotter, heats stay on."""
    settings = setup.settings
    coolant_c = settings.coolant_supply_temperature_c
    kept = math.exp(-idle_s * conductance_w_k(setup.mold, 1.0) / setup.mold.half_heat_j_k)
    targets = targets_c(settings.barrel_temperatures_c)
    return replace(
        state,
        zones_c=barrel_after(state.zones_c, targets, health, elapsed_s=idle_s),
        core_c=coolant_c + (state.core_c - coolant_c) * kept,
        cavity_c=coolant_c + (state.cavity_c - coolant_c) * kept,
        tank_c=coolant_c,
        rest_k=REST_HEAT_K * _rested(idle_s),
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
    leak_mm = health.ring_leak_mm + (MISS_MM * (1 + rng.random()) if missed else 0.0)
    core_c = state.core_c + wobble["mold_core_temperature"]
    cavity_c = state.cavity_c + wobble["mold_cavity_temperature"]
    melt_c = melt_at_tip_c(setup.settings, health, wobble, zones_c=state.zones_c, rest_k=state.rest_k)
    shot = inject(setup, health, wobble, melt_c=melt_c, short_mm=state.short_mm, leak_mm=leak_mm)
    packed = pack(setup, health, shot, wobble, leak_mm=leak_mm, wall_c=(core_c + cavity_c) / 2)
    stroke_mm = setup.settings.screw_start_position_mm - packed.cushion_mm
    stiff = shot.viscosity * setup.blend.stiffness(melt_c, steep=RECOVERY_STEEP)
    recovered = recover(setup, health, wobble, viscosity=stiff, recovered_mm=stroke_mm)
    timing = _time(setup, health, shot, recovered, wobble, rng=rng)
    molding = _molding(setup, health, shot, packed, wobble, timing=timing, core_c=core_c, cavity_c=cavity_c)
    heat_w = heat_flow_w(setup, molding, cycle_s=timing.cycle_s)
    coolant = circulate(setup, health, wobble, tank_c=state.tank_c, ambient_c=ambient_c, heat_w=heat_w)
    after = _after(
        state,
        setup,
        health,
        coolant,
        heat_w=heat_w,
        timing=timing,
        short_mm=recovered.short_mm,
        ambient_c=ambient_c,
        walk=walk,
    )
    outcome = Outcome(
        cycle_time_s=timing.cycle_s,
        values=readings(
            setup,
            health,
            wobble,
            zones_c=state.zones_c,
            shot=shot,
            pack=packed,
            recovery=recovered,
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


def _time(
    setup: Setup,
    health: Health,
    shot: Injection,
    recovered: Recovery,
    wobble: Wobble,
    *,
    rng: np.random.Generator,
) -> Timing:
    settings, machine = setup.settings, setup.machine
    cut_s = max(0.0, health.cut_s * (1 + 0.4 * rng.standard_normal()))
    cooling_s = max(settings.cooling_time_s - cut_s, recovered.time_s + 0.5)
    usual = machine.mold_open_time_s * health.pace_factor * (1 + wobble["mold_open_time"])
    open_s = usual * math.exp(health.pace_spread * rng.standard_normal())
    delay_s = health.robot_delay_s * math.exp(0.4 * rng.standard_normal())
    closed_s = settings.hold_time_s + cooling_s + delay_s
    motion_s = machine.motion_time_s / health.pump_strength + wobble["machine_motion"]
    return Timing(
        cooling_s=cooling_s,
        closed_s=closed_s,
        open_s=open_s,
        cycle_s=motion_s + shot.fill.time_s + closed_s + open_s,
    )


def _molding(
    setup: Setup,
    health: Health,
    shot: Injection,
    packed: Pack,
    wobble: Wobble,
    *,
    timing: Timing,
    core_c: float,
    cavity_c: float,
) -> Molding:
    foamed = WET_SHRINK_PER_PERCENT * setup.blend.wet_percent(health.moisture_percent)
    unlike = MIX_SHRINK * (health.mix_spread - 1) * wobble["blend_mix"]
    return Molding(
        melt_c=shot.melt_c + heating_k_per_pa(setup.blend) * shot.fill.peak_pa,
        core_c=core_c,
        cavity_c=cavity_c,
        time_in_mold_s=timing.closed_s,
        fill_s=shot.fill.time_s,
        pack_mpa=packed.cavity_mpa,
        weight_g=packed.weight_g,
        shrink_factor=health.shrink_factor * max(1 + foamed + unlike, 0.2),
    )


def _after(
    state: PressState,
    setup: Setup,
    health: Health,
    coolant: Coolant,
    *,
    heat_w: float,
    timing: Timing,
    short_mm: float,
    ambient_c: float,
    walk: npt.NDArray[np.float64],
) -> PressState:
    settings, cycle_s = setup.settings, timing.cycle_s
    middle_c = (coolant.supply_c + coolant.return_c) / 2
    core_c, cavity_c = (
        half_after(
            now_c, setup.mold, flow_share=share, coolant_c=middle_c + warmer_k, heat_w=heat_w, cycle_s=cycle_s
        )
        for now_c, share, warmer_k in (
            (state.core_c, health.core_flow_share, health.core_supply_k),
            (state.cavity_c, health.cavity_flow_share, health.cavity_supply_k),
        )
    )
    waited_s = max(timing.open_s - 1.1 * setup.machine.mold_open_time_s, 0.0)
    rest_k = state.rest_k * math.exp(-1 / REST_SHOTS)
    return PressState(
        zones_c=barrel_after(
            state.zones_c, targets_c(settings.barrel_temperatures_c), health, elapsed_s=cycle_s
        ),
        core_c=core_c,
        cavity_c=cavity_c,
        tank_c=tank_after(
            state.tank_c,
            setup.machine,
            health,
            setpoint_c=settings.coolant_supply_temperature_c,
            ambient_c=ambient_c,
            heat_w=heat_w,
            elapsed_s=cycle_s,
        ),
        short_mm=short_mm,
        rest_k=rest_k + (REST_HEAT_K - rest_k) * _rested(waited_s),
        shots_since_start=state.shots_since_start + 1,
        noise=walk,
    )


def _rested(idle_s: float) -> float:
    return 1 - math.exp(-idle_s / REST_TIME_S)
