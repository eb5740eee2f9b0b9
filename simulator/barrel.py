"""Barrel: each heated zone is a first-order system with its own controller, and leans on its neighbors.

A zone's steel takes heat from its band and from the zones beside it, and loses it to the hall. The controller
sees a thermocouple and asks for the power that would bring the reading to its setpoint with a time constant;
the band gives what it can. So an open band lets its zone fall to a plateau that the neighbors hold, a stuck
contactor lets it climb to one, and a thermocouple that reads low has its zone overheated while the reading
stands at the setpoint. Sizes are assumed: they give a fall over 5 to 20 minutes and plateaus of 10 to 40 K,
as known on the floor (common practice, no source).
"""

from simulator.hall import HALL_C
from simulator.health import Health, PerZone

STEEL_J_K = 10_700.0
LOSS_W_K = 5.2  # to the hall
NEIGHBOR_W_K = 8.6
RESERVE = 1.6  # full power against what a zone needs at its setpoint
LEAK_W_PER_CM3 = 20.0  # that melt around the nozzle takes away; the controller only follows
SETTLE_S = 300.0  # after a change of setpoint the barrel needs 10 to 30 minutes in all
STEP_S = 30.0


def targets_c(barrel_temperatures_c: PerZone) -> PerZone:
    """Setpoints of all heaters: the nozzle's is that of the zone at the screw tip."""
    return (*barrel_temperatures_c, barrel_temperatures_c[-1])


def barrel_after(zones_c: PerZone, targets: PerZone, health: Health, *, elapsed_s: float) -> PerZone:
    """Steel temperatures a time later.

    Parameters
    ----------
    zones_c, targets : tuple of float
        From the hopper to the screw tip, the nozzle last.
    health : Health
        Bands, contactors and thermocouples.
    elapsed_s : float

    Returns
    -------
    tuple of float
    """
    if zones_c == targets and not _ill(health):
        return zones_c
    steps = max(1, round(elapsed_s / STEP_S))
    for _ in range(steps):
        zones_c = _step(zones_c, targets, health, elapsed_s / steps)
    return zones_c


def _ill(health: Health) -> bool:
    return (
        health.nozzle_leak_cm3 > 0
        or any(health.thermocouple_error_k)
        or any(health.heater_least_duty)
        or min(health.heater_power_share) < 1.0
    )


def _step(zones_c: PerZone, targets: PerZone, health: Health, step_s: float) -> PerZone:
    after = []
    last = len(zones_c) - 1
    for i, (zone_c, target_c) in enumerate(zip(zones_c, targets, strict=True)):
        lost_w = LOSS_W_K * (zone_c - HALL_C)
        if i > 0:
            lost_w += _leaned(zone_c, zones_c[i - 1], target_c, targets[i - 1])
        if i < last:
            lost_w += _leaned(zone_c, zones_c[i + 1], target_c, targets[i + 1])
        seen_c = zone_c + health.thermocouple_error_k[i]
        wanted_w = lost_w + STEEL_J_K * (target_c - seen_c) / SETTLE_S
        full_w = RESERVE * LOSS_W_K * (target_c - HALL_C)
        given_w = min(wanted_w, health.heater_power_share[i] * full_w)
        given_w = max(given_w, health.heater_least_duty[i] * full_w, 0.0)
        unseen_w = LEAK_W_PER_CM3 * health.nozzle_leak_cm3 if i == last else 0.0
        after.append(zone_c + (given_w - lost_w - unseen_w) * step_s / STEEL_J_K)
    return tuple(after)


def _leaned(zone_c: float, other_c: float, target_c: float, other_target_c: float) -> float:
    """Heat to a neighbor beyond what the slope of the setpoints drives, which the bands are laid out for."""
    return NEIGHBOR_W_K * ((zone_c - other_c) - (target_c - other_target_c))
