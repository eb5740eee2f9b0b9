"""What the press writes into its record of a shot, rounded as it rounds."""

from simulator.disc import Molding
from simulator.health import Health, PerZone
from simulator.noise import Wobble, report
from simulator.plant import PA_PER_MPA
from simulator.recovery import USUAL_BACK_PRESSURE_MPA, back_pressure_mpa
from simulator.stages import Coolant, Injection, Pack, Recovery, Setup, Timing

USUAL_TORQUE_NM = 420.0


def readings(
    setup: Setup,
    health: Health,
    wobble: Wobble,
    *,
    zones_c: PerZone,
    shot: Injection,
    pack: Pack,
    recovery: Recovery,
    timing: Timing,
    molding: Molding,
    coolant: Coolant,
    ambient_c: float,
) -> dict[str, float]:
    """Actual values by message key, canonical units."""
    settings, machine = setup.settings, setup.machine
    peak_mpa = _peak_mpa(shot, wobble)
    *barrel_c, nozzle_c = (
        zone_c + error_k for zone_c, error_k in zip(zones_c, health.thermocouple_error_k, strict=True)
    )
    zones = {
        f"barrel_temperature.{i}": zone_c + wobble[f"barrel_temperature.{i}"]
        for i, zone_c in enumerate(barrel_c, 1)
    }
    back_mpa = back_pressure_mpa(settings, health)
    torque_nm = USUAL_TORQUE_NM * shot.viscosity**0.6 * (0.8 + 0.2 * back_mpa / USUAL_BACK_PRESSURE_MPA)
    values = {
        "injection_time": shot.fill.time_s * (1 + wobble["injection_time"]),
        "cycle_time": timing.cycle_s,
        "recovery_time": recovery.time_s,
        "mold_open_time": timing.open_s,
        "hold_time": settings.hold_time_s,
        "cooling_time": timing.cooling_s,
        "time_in_mold": molding.time_in_mold_s,
        "peak_melt_pressure": peak_mpa,
        "switchover_melt_pressure": peak_mpa * (0.985 + wobble["switchover_melt_pressure"]),
        "switchover_position": shot.switchover_mm,
        "hold_melt_pressure": pack.hold_mpa,
        "back_pressure": back_mpa * (1 + wobble["back_pressure"]),
        "cushion": pack.cushion_mm,
        "screw_start_position": shot.start_mm,
        "screw_speed": settings.screw_speed_per_min * (1 + wobble["screw_speed"]),
        "screw_torque": torque_nm * (1 + wobble["screw_torque"]),
        **zones,
        "nozzle_temperature": nozzle_c + wobble["nozzle_temperature"],
        "mold_core_temperature": molding.core_c,
        "mold_cavity_temperature": molding.cavity_c,
        "coolant_supply_temperature": coolant.supply_c,
        "coolant_return_temperature": coolant.return_c,
        "coolant_flow": coolant.flow_l_min,
        "clamp_force": machine.clamp_force_kn * health.clamp_share * (1 + wobble["clamp_force"]),
        "part_weight": pack.weight_g,
        "ambient_temperature": ambient_c + wobble["ambient_temperature"],
    }
    return {key: report(key, value) for key, value in values.items()}


def _peak_mpa(shot: Injection, wobble: Wobble) -> float:
    """At its limit the pressure is held: little is left that could spread."""
    share = 1.0 if shot.fill.limited_share == 0.0 else 0.1
    return shot.fill.peak_pa / PA_PER_MPA * (1 + share * wobble["peak_melt_pressure"])
