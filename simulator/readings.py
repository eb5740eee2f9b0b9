"""What the press writes into its record of a shot, rounded as it rounds."""

from simulator.disc import Molding
from simulator.noise import Wobble, report
from simulator.stages import Coolant, Injection, Pack, Setup, Timing

PA_PER_MPA = 1e6
USUAL_TORQUE_NM = 420.0


def readings(
    setup: Setup,
    wobble: Wobble,
    *,
    zones_c: tuple[float, ...],
    shot: Injection,
    pack: Pack,
    timing: Timing,
    molding: Molding,
    coolant: Coolant,
    ambient_c: float,
) -> dict[str, float]:
    """Actual values by message key, canonical units."""
    settings, machine = setup.settings, setup.machine
    cap_mpa = min(settings.injection_pressure_limit_mpa, machine.greatest_melt_pressure_mpa)
    free = shot.fill.limited_share == 0.0  # at its limit the pressure is held: nothing left that could spread
    reading = 1 + wobble["peak_melt_pressure"] * (1.0 if free else 0.1)
    peak_mpa = min(shot.fill.peak_pa / PA_PER_MPA * reading, cap_mpa * 1.003)
    zones = {
        f"barrel_temperature.{i}": zone_c + wobble[f"barrel_temperature.{i}"]
        for i, zone_c in enumerate(zones_c, 1)
    }
    values = {
        "injection_time": shot.fill.time_s * (1 + wobble["injection_time"]),
        "cycle_time": timing.cycle_s,
        "recovery_time": timing.recovery_s,
        "mold_open_time": timing.open_s,
        "hold_time": settings.hold_time_s,
        "cooling_time": timing.cooling_s,
        "time_in_mold": molding.time_in_mold_s,
        "peak_melt_pressure": peak_mpa,
        "switchover_melt_pressure": peak_mpa * (0.985 + wobble["switchover_melt_pressure"]),
        "switchover_position": shot.switchover_mm,
        "hold_melt_pressure": pack.hold_mpa,
        "back_pressure": settings.back_pressure_mpa * (1 + wobble["back_pressure"]),
        "cushion": pack.cushion_mm,
        "screw_start_position": shot.start_mm,
        "screw_speed": settings.screw_speed_per_min * (1 + wobble["screw_speed"]),
        "screw_torque": USUAL_TORQUE_NM * shot.viscosity**0.6 * (1 + wobble["screw_torque"]),
        **zones,
        "nozzle_temperature": settings.barrel_temperatures_c[-1] + wobble["nozzle_temperature"],
        "mold_core_temperature": molding.core_c,
        "mold_cavity_temperature": molding.cavity_c,
        "coolant_supply_temperature": coolant.supply_c,
        "coolant_return_temperature": coolant.return_c,
        "coolant_flow": coolant.flow_l_min,
        "clamp_force": machine.clamp_force_kn * (1 + wobble["clamp_force"]),
        "part_weight": pack.weight_g,
        "ambient_temperature": ambient_c + wobble["ambient_temperature"],
    }
    return {key: report(key, value) for key, value in values.items()}
