"""What stands on the floor: machines, molds, and the settings a person enters. All numbers are invented."""

import math
from dataclasses import dataclass

from simulator.filling import FlowPath

ZONES = 3
PA_PER_MPA = 1e6


@dataclass(frozen=True, slots=True, kw_only=True)
class Machine:
    """One injection molding machine.

    Attributes
    ----------
    greatest_melt_pressure_mpa : float
        What pump and screw can give; setting the pressure limit higher changes nothing.
    motion_time_s : float
        Closing, opening and the nozzle's way, together.
    mold_open_time_s : float
        Gate open to gate closed with the usual handling.
    injection_timeout_s, recovery_timeout_s : float
        Longest that fill may take and that the screw may turn; then the press goes on with what it has.
    chiller_w, coolant_j_k : float
        Heat that the press's chiller can take away, and that warms its tank by 1 K.
    """

    screw_diameter_m: float
    greatest_melt_pressure_mpa: float
    motion_time_s: float
    mold_open_time_s: float
    clamp_force_kn: float
    injection_timeout_s: float = 20.0
    recovery_timeout_s: float = 60.0
    chiller_w: float = 1200.0
    coolant_j_k: float = 170_000.0

    @property
    def screw_area_m2(self) -> float:
        """Cross-section that the screw pushes on."""
        return math.pi * self.screw_diameter_m**2 / 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Mold:
    """One single-cavity disc mold with a cooled core (underside) and cavity (top).

    Attributes
    ----------
    crown_mm : float
        Dome cut into the steel.
    half_heat_j_k : float
        Heat that warms one half by 1 K.
    conduction_k_w, film_k_w : float
        Thermal resistance of one half: steel to the channel, and channel wall to the coolant at nominal flow.
    circuit_flow_l_min : float
        Nominal flow of one half's circuit.
    """

    name: str
    path: FlowPath
    outer_diameter_mm: float
    crown_mm: float
    half_heat_j_k: float
    conduction_k_w: float
    film_k_w: float
    circuit_flow_l_min: float

    @property
    def projected_m2(self) -> float:
        """Area that cavity pressure opens the mold by."""
        return math.pi * (self.outer_diameter_mm / 1000) ** 2 / 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """Setpoints, as a person enters them at the press. Pressures are melt pressures."""

    injection_speed_mm_s: float
    injection_pressure_limit_mpa: float
    switchover_position_mm: float
    hold_pressure_mpa: float
    hold_time_s: float
    cooling_time_s: float
    screw_start_position_mm: float
    screw_speed_per_min: float
    back_pressure_mpa: float
    barrel_temperatures_c: tuple[float, ...]
    coolant_supply_temperature_c: float

    def by_key(self) -> dict[str, float]:
        """Setpoints by message key, canonical units."""
        zones = {f"barrel_temperature.{i}": t for i, t in enumerate(self.barrel_temperatures_c, 1)}
        return {
            "injection_speed": self.injection_speed_mm_s,
            "injection_pressure_limit": self.injection_pressure_limit_mpa,
            "switchover_position": self.switchover_position_mm,
            "hold_pressure": self.hold_pressure_mpa,
            "hold_time": self.hold_time_s,
            "cooling_time": self.cooling_time_s,
            "screw_start_position": self.screw_start_position_mm,
            "screw_speed": self.screw_speed_per_min,
            "back_pressure": self.back_pressure_mpa,
            "coolant_supply_temperature": self.coolant_supply_temperature_c,
            **zones,
        }


def _mold(
    name: str, plate_radius_m: float, rim_side_m: float, outer_diameter_mm: float, crown_mm: float
) -> Mold:
    plate_m3 = math.pi * plate_radius_m**2 * 0.0022
    rim_m3 = math.pi * (outer_diameter_mm / 1000 - rim_side_m) * rim_side_m**2
    path = FlowPath(
        tube_radius_m=0.0018,
        tube_length_m=0.070,
        gate_radius_m=0.004,
        plate_radius_m=plate_radius_m,
        plate_gap_m=0.0022,
        rim_side_m=rim_side_m,
        volume_m3=plate_m3 + rim_m3,
    )
    return Mold(
        name=name,
        path=path,
        outer_diameter_mm=outer_diameter_mm,
        crown_mm=crown_mm,
        half_heat_j_k=12_000.0,
        conduction_k_w=0.012,
        film_k_w=0.012,
        circuit_flow_l_min=4.0,
    )


MOLDS: dict[str, Mold] = {
    mold.name: mold
    for mold in (
        _mold("Alder 9", 0.0850, 0.0128, 213.5, 0.60),
        _mold("Larch 5", 0.0885, 0.0118, 218.0, 0.65),
        _mold("Rowan 12", 0.0830, 0.0134, 212.0, 0.55),
        _mold("Rowan 7", 0.0860, 0.0124, 214.0, 0.60),
        _mold("Hazel 7", 0.0875, 0.0120, 216.0, 0.65),
    )
}
