"""Heat balance of the mold and its coolant: each half is one lump that takes half of the shot's heat and
gives it to its coolant; the coolant's tank gives it to a chiller that can take so much and no more.

The way out of a half is steel, then the film at the channel wall, whose resistance falls with flow**0.8 (the
exponent of Dittus and Boelter for turbulent flow, as in every heat-transfer handbook). What the coolant takes
up warms it by heat flow over mass flow and heat capacity.
"""

import math

from simulator.disc import Molding, rim_temperature_c
from simulator.hall import HALL_C
from simulator.health import Health
from simulator.noise import Wobble
from simulator.plant import Machine, Mold
from simulator.stages import Coolant, Setup

WATER_J_KGK = 4186.0
HALL_SHARE = 0.008  # of a warm hall that the chiller lets through; assumed
TANK_LOSS_W_K = 6.0  # from the hall to the tank
CHILLER_SETTLE_S = 120.0
_LEAST_FLOW_SHARE = 0.02


def heat_flow_w(setup: Setup, molding: Molding, *, cycle_s: float) -> float:
    """Mean heat flow from the shot into one half."""
    rim_c = rim_temperature_c(molding, setup.mold, setup.blend, time_s=molding.time_in_mold_s)
    left_c = (2 * rim_c + molding.wall_c) / 3  # two thirds of the mass is rim
    heat_j = molding.weight_g / 1000 * setup.blend.heat_capacity_j_kgk * (molding.melt_c - left_c)
    return heat_j / 2 / cycle_s


def conductance_w_k(mold: Mold, flow_share: float) -> float:
    """Heat flow per kelvin from one half to its coolant."""
    return 1.0 / (mold.conduction_k_w + mold.film_k_w / math.pow(max(flow_share, _LEAST_FLOW_SHARE), 0.8))


def circulate(
    setup: Setup, health: Health, wobble: Wobble, *, tank_c: float, ambient_c: float, heat_w: float
) -> Coolant:
    """Supply, return and flow of both circuits for this much heat from each half."""
    supply_c = tank_c + HALL_SHARE * (ambient_c - HALL_C) + wobble["coolant_supply_temperature"]
    shares = health.core_flow_share + health.cavity_flow_share
    flow_l_min = setup.mold.circuit_flow_l_min * shares * (1 + wobble["coolant_flow"])
    rise_k = 2 * heat_w / (max(flow_l_min, 0.05) / 60 * WATER_J_KGK)
    rise_k += (health.core_supply_k + health.cavity_supply_k) / 2
    return Coolant(
        supply_c=supply_c,
        return_c=supply_c + rise_k + wobble["coolant_return_temperature"],
        flow_l_min=flow_l_min,
    )


def tank_after(
    tank_c: float,
    machine: Machine,
    health: Health,
    *,
    setpoint_c: float,
    ambient_c: float,
    heat_w: float,
    elapsed_s: float,
) -> float:
    """Temperature of the coolant tank later, with both halves' heat and what the chiller takes away."""
    load_w = 2 * heat_w + TANK_LOSS_W_K * (ambient_c - tank_c)
    wanted_w = load_w + machine.coolant_j_k * (tank_c - setpoint_c) / CHILLER_SETTLE_S
    taken_w = min(max(wanted_w, 0.0), machine.chiller_w * health.chiller_share)
    settled = 1.0 - math.exp(-elapsed_s / CHILLER_SETTLE_S)
    if taken_w == wanted_w:
        return tank_c + (setpoint_c - tank_c) * settled
    return tank_c + (load_w - taken_w) * elapsed_s / machine.coolant_j_k


def half_after(
    now_c: float, mold: Mold, *, flow_share: float, coolant_c: float, heat_w: float, cycle_s: float
) -> float:
    """Temperature of one half a cycle later: first order towards where the heat balances."""
    conductance = conductance_w_k(mold, flow_share)
    end_c = coolant_c + heat_w / conductance
    return end_c + (now_c - end_c) * math.exp(-cycle_s * conductance / mold.half_heat_j_k)
