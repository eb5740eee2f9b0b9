"""Recovery: the screw turns and draws in the next shot.

How long it takes goes with stroke, screw speed, back pressure, the melt's stiffness, feed and wear; how well
it packs the melt goes with back pressure, feed and wear. When it does not arrive in time the press goes on
with a short shot, as most do after an alarm of their own. All factors are assumed; directions are common
practice, no source.
"""

import math

from simulator.health import Health
from simulator.noise import Wobble
from simulator.plant import Settings
from simulator.stages import Recovery, Setup

USUAL_S = 18.0  # 80 mm at 60 turns a minute
USUAL_BACK_PRESSURE_MPA = 10.0
BACK_PRESSURE_SHARE = 0.2  # of recovery time that goes with back pressure
LEAST_FEED = 0.05
AIR_WITHOUT_BACK_PRESSURE = 0.020  # of the volume before the screw; falls by e every so many MPa
AIR_FALLS_MPA = 3.0
AIR_STARVED = 0.040
AIR_WORN = 0.012
AIR_WET_PER_PERCENT = 0.10  # bubbles of water
AIR_SPREAD = 0.5


def back_pressure_mpa(settings: Settings, health: Health) -> float:
    """Back pressure as it is, not as it is set."""
    return settings.back_pressure_mpa * health.back_pressure_share


def recover(
    setup: Setup, health: Health, wobble: Wobble, *, viscosity: float, recovered_mm: float
) -> Recovery:
    """Draw in the next shot.

    Parameters
    ----------
    setup : Setup
    health : Health
        Feed, wear, pump, back pressure.
    wobble : Wobble
    viscosity : float
        Of the melt at its temperature, against the usual lot at the usual one.
    recovered_mm : float
        From the cushion back to the start position.

    Returns
    -------
    Recovery
    """
    settings = setup.settings
    pressure = back_pressure_mpa(settings, health) / USUAL_BACK_PRESSURE_MPA
    time_s = USUAL_S * (recovered_mm / 80) * (60 / settings.screw_speed_per_min) * math.sqrt(viscosity)
    time_s *= 1 - BACK_PRESSURE_SHARE + BACK_PRESSURE_SHARE * pressure
    time_s *= health.slip_factor * (1 + 0.5 * health.screw_wear) / math.sqrt(health.pump_strength)
    time_s /= max(health.feed_share, LEAST_FEED)
    unsteady = 1 + 3 * health.screw_wear + 2 * (1 - health.feed_share)
    time_s *= max(1 + wobble["recovery_time"] * unsteady, 0.1)
    longest_s = setup.machine.recovery_timeout_s
    if time_s <= longest_s:
        return Recovery(time_s=time_s, short_mm=0.0)
    return Recovery(time_s=longest_s, short_mm=recovered_mm * (1 - longest_s / time_s))


def air_share(setup: Setup, health: Health, wobble: Wobble) -> float:
    """Part of the melt before the screw that is air, loose pellets and bubbles, other in every shot."""
    settings = setup.settings
    usual = AIR_WITHOUT_BACK_PRESSURE * math.exp(-back_pressure_mpa(settings, health) / AIR_FALLS_MPA)
    usual += AIR_STARVED * (1 - health.feed_share) + AIR_WORN * health.screw_wear
    usual += AIR_WET_PER_PERCENT * setup.blend.wet_percent(health.moisture_percent)
    return usual * max(1 + AIR_SPREAD * wobble["dose"], 0.0)
