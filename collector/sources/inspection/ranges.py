"""Usual ranges of values, narrower than the plausible ones: they tell one unit from another.

For a disc of about 175 g on a press of 150 to 300 t, and for small parts: common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass

from collector.contract import quantities, units


@dataclass(frozen=True, slots=True)
class Usual:
    """Usual range in the canonical unit, and the units that presses send, the most common first."""

    low: float
    high: float
    units: tuple[str, ...]


_PRESSURES = ("bar", "MPa", "psi", "kPa")
_LENGTHS = ("mm", "in")
_VOLUMES = ("cm3", "in3", "mm3")
_TIMES = ("s", "ms")
_DEGREES = ("degC", "degF")
_WEIGHTS = ("g", "oz", "kg")

USUAL: dict[str, Usual] = {
    "injection_time": Usual(0.15, 20, _TIMES),
    "cycle_time": Usual(3, 300, _TIMES),
    "recovery_time": Usual(0.8, 120, _TIMES),
    "mold_open_time": Usual(0.5, 60, _TIMES),
    "hold_time": Usual(0.3, 60, _TIMES),
    "cooling_time": Usual(1, 300, _TIMES),
    "time_in_mold": Usual(2, 400, _TIMES),
    "peak_melt_pressure": Usual(20, 260, _PRESSURES),
    "switchover_melt_pressure": Usual(15, 260, _PRESSURES),
    "hold_melt_pressure": Usual(5, 160, _PRESSURES),
    "hold_pressure": Usual(5, 160, _PRESSURES),
    "back_pressure": Usual(0.3, 25, _PRESSURES),
    "injection_pressure_limit": Usual(30, 300, _PRESSURES),
    "peak_hydraulic_pressure": Usual(2, 26, _PRESSURES),
    "cavity_peak_pressure": Usual(3, 150, _PRESSURES),
    "cushion": Usual(0.8, 40, _LENGTHS),
    "switchover_position": Usual(3, 150, _LENGTHS),
    "screw_start_position": Usual(15, 500, _LENGTHS),
    "cushion_volume": Usual(0.5, 150, _VOLUMES),
    "switchover_volume": Usual(1, 400, _VOLUMES),
    "barrel_temperature": Usual(120, 350, _DEGREES),
    "nozzle_temperature": Usual(120, 350, _DEGREES),
    "mold_core_temperature": Usual(8, 130, _DEGREES),
    "mold_cavity_temperature": Usual(8, 130, _DEGREES),
    "mold_temperature": Usual(8, 130, _DEGREES),
    "coolant_supply_temperature": Usual(5, 95, _DEGREES),
    "coolant_return_temperature": Usual(5, 95, _DEGREES),
    "oil_temperature": Usual(20, 70, _DEGREES),
    "ambient_temperature": Usual(5, 45, _DEGREES),
    "clamp_force": Usual(100, 12000, ("kN", "ton_force_us", "ton_force_metric")),
    "coolant_flow": Usual(0.5, 80, ("L/min", "gal/min")),
    "screw_speed": Usual(15, 500, ("1/min",)),
    "screw_torque": Usual(5, 5000, ("N*m",)),
    "injection_speed": Usual(5, 400, ("mm/s", "in/s")),
    "part_weight": Usual(3, 1000, _WEIGHTS),
    "weight": Usual(3, 1000, _WEIGHTS),
    "dome": Usual(0.2, 15, _LENGTHS),
    "diameter": Usual(20, 400, _LENGTHS),
    "inner_diameter": Usual(5, 400, _LENGTHS),
    "roundness": Usual(0.005, 5, _LENGTHS),
    "width": Usual(0.5, 400, _LENGTHS),
    "height": Usual(0.5, 100, _LENGTHS),
    "thickness": Usual(0.5, 30, _LENGTHS),
}
# For a quantity under a name of its own, by what kind of thing its header speaks of.
KINDS: dict[str, Usual] = {
    "temperature": Usual(5, 350, _DEGREES),
    "pressure": Usual(1, 260, _PRESSURES),
    "time": Usual(0.1, 400, _TIMES),
    "volume": Usual(0.5, 400, _VOLUMES),
    "position": Usual(0.5, 500, _LENGTHS),
    "diameter": USUAL["diameter"],
    "width": USUAL["width"],
    "height": USUAL["height"],
    "thickness": USUAL["thickness"],
    "roundness": USUAL["roundness"],
    "weight": USUAL["weight"],
    "force": USUAL["clamp_force"],
    "torque": USUAL["screw_torque"],
    "flow": USUAL["coolant_flow"],
    "rotation": USUAL["screw_speed"],
    "speed": USUAL["injection_speed"],
}


def usual(key: str) -> Usual | None:
    """The usual range of a key, whatever its zone."""
    return USUAL.get(key.partition(".")[0])


def canonical(value: float, unit: str) -> float:
    """A value in the canonical unit of its kind."""
    line = units.linear(unit, units.canonical(unit))
    assert line is not None, "a unit converts to the canonical unit of its own kind"
    return value * line[0] + line[1]


def is_plausible(key: str, value: float, unit: str) -> bool:
    """Whether a value lies within the wide range of the table of quantities, if the table knows the key."""
    quantity = quantities.find(key)
    return quantity is None or quantity.is_plausible(canonical(value, unit))


def is_usual(range_: Usual, value: float, unit: str) -> bool:
    """Whether a value lies within the usual range."""
    return range_.low <= canonical(value, unit) <= range_.high
