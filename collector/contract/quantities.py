"""The one table of known quantities: what a value is, in which unit, and how it is written.

Units are the canonical ones of this service; messages in other units are converted on the way in.
Plausible ranges are wide on purpose: they catch a wrong unit or a dead sensor, not a bad process.
They are common practice for a disc of about 175 g on a press of 150 to 300 t, no source.

References
----------
OPC 40077 (EUROMAP 77), injection molding machines to MES: the names in `opc_name`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Literal

from collector.contract.figures import significant
from collector.contract.unit_names import symbol

Scope = Literal["shot", "disc", "setpoint"]

MELT = "Pressure of the melt in front of the screw tip (specific pressure), not of the hydraulic oil."
HYDRAULIC = "Pressure of the hydraulic oil; the melt pressure is higher by the press's intensification ratio."
CUSHION = "Smallest screw position of the cycle, not the position at the end of hold."
COOLING = "Timer of the press after hold has ended. ISO 294-1 counts from the end of injection instead."


@dataclass(frozen=True, slots=True)
class Quantity:
    """One measured or set quantity.

    Attributes
    ----------
    key : str
        Name in messages: snake_case without the unit; `barrel_temperature.3` is zone 3.
    label : str
        Name for people.
    unit : str
        Canonical unit.
    decimals : int
        Digits after the point when shown in the canonical unit.
    plausible_low, plausible_high : float
        Range outside of which the sensor or the unit is to be doubted, canonical unit.
    applies_to : frozenset of {'shot', 'disc', 'setpoint'}
        Where the key may stand.
    set_time_h : float
        Age in hours from which a disc's measurement counts as final.
    slow : bool
        Changes over minutes, so neighboring shots are alike.
    timer : bool
        Set by a timer of the press: watched for change, never charted with a sigma.
    vital : bool
        Charted by default.
    zoned : bool
        Comes once per numbered zone.
    opc_name : str or None
        BrowseName in OPC 40077.
    note : str
        What exactly is measured, where presses differ.
    """

    key: str
    label: str
    unit: str
    decimals: int
    plausible_low: float
    plausible_high: float
    applies_to: frozenset[Scope] = frozenset({"shot"})
    set_time_h: float = 0.0
    slow: bool = False
    timer: bool = False
    vital: bool = False
    zoned: bool = False
    opc_name: str | None = None
    note: str = ""

    @property
    def own(self) -> bool:
        """Whether the name is ours, the standard's cycle record having none."""
        return self.opc_name is None

    def is_plausible(self, value: float) -> bool:
        """Whether `value`, in the canonical unit, can be what the quantity says it is."""
        return self.plausible_low <= value <= self.plausible_high


SHOT: frozenset[Scope] = frozenset({"shot"})
SETPOINT: frozenset[Scope] = frozenset({"setpoint"})
BOTH: frozenset[Scope] = SHOT | SETPOINT
DISC: frozenset[Scope] = frozenset({"disc"})

# fmt: off
QUANTITIES: tuple[Quantity, ...] = (
    Quantity("injection_time", "Injection time", "s", 3, 0.05, 60, SHOT, vital=True, opc_name="InjectionTime",
             note="From the start of injection to switchover."),
    Quantity("cycle_time", "Cycle time", "s", 2, 1, 3600, SHOT, vital=True, opc_name="CycleTime"),
    Quantity("recovery_time", "Recovery time", "s", 2, 0.1, 600, SHOT, vital=True, opc_name="DosingTime",
             note="Time the screw turns to prepare the next shot."),
    Quantity("mold_open_time", "Mold-open time", "s", 2, 0, 3600, SHOT),
    Quantity("hold_time", "Hold time", "s", 2, 0, 300, BOTH, timer=True),
    Quantity("cooling_time", "Cooling time", "s", 2, 0, 1800, BOTH, timer=True, note=COOLING),
    Quantity("time_in_mold", "Time in mold", "s", 2, 0, 7200, SHOT, note="Hold time plus cooling time."),
    Quantity("peak_melt_pressure", "Peak melt pressure", "MPa", 2, 0.5, 350, SHOT, vital=True,
             opc_name="SpecificPressureMaximum", note=MELT),
    Quantity("peak_hydraulic_pressure", "Peak hydraulic pressure", "MPa", 2, 0.1, 40, SHOT,
             opc_name="HydraulicPressureMaximum", note=HYDRAULIC),
    Quantity("switchover_melt_pressure", "Switchover melt pressure", "MPa", 2, 0, 350, SHOT,
             opc_name="TransferSpecificPressure", note=MELT),
    Quantity("switchover_position", "Switchover position", "mm", 2, 0, 500, BOTH,
             opc_name="VPChangeOverPosition",
             note="Screw position when injection hands over to hold."),
    Quantity("switchover_volume", "Switchover volume", "cm3", 2, 0, 5000, BOTH, opc_name="TransferVolume",
             note="Screw volume when injection hands over to hold."),
    Quantity("hold_melt_pressure", "Hold melt pressure", "MPa", 2, 0, 350, SHOT,
             opc_name="HoldSpecificPressureAverage",
             note=MELT),
    Quantity("back_pressure", "Back pressure", "MPa", 2, 0, 60, BOTH, opc_name="BackPressure", note=MELT),
    Quantity("cushion", "Cushion", "mm", 2, 0, 100, SHOT, vital=True, opc_name="CushionStroke", note=CUSHION),
    Quantity("cushion_volume", "Cushion volume", "cm3", 2, 0, 1000, SHOT, opc_name="CushionVolume",
             note=CUSHION),
    Quantity("screw_start_position", "Screw start position", "mm", 2, 1, 1000, BOTH,
             opc_name="InjectionStartPosition"),
    Quantity("screw_speed", "Screw speed", "1/min", 1, 0, 1000, BOTH,
             opc_name="PlastificationRotationalSpeedAverage"),
    Quantity("screw_torque", "Screw torque", "N*m", 1, 0, 20000, SHOT),
    Quantity("barrel_temperature", "Barrel temperature", "degC", 1, 0, 450, BOTH, slow=True, zoned=True,
             opc_name="BarrelTemperatureZoneCycleParameters"),
    Quantity("nozzle_temperature", "Nozzle temperature", "degC", 1, 0, 450, SHOT, slow=True),
    Quantity("mold_core_temperature", "Mold core temperature", "degC", 2, 0, 250, SHOT, slow=True, vital=True,
             opc_name="MouldTemperatureZone", note="Half that forms the underside of the disc."),
    Quantity("mold_cavity_temperature", "Mold cavity temperature", "degC", 2, 0, 250, SHOT, slow=True,
             vital=True,
             opc_name="MouldTemperatureZone", note="Half that forms the top of the disc."),
    Quantity("coolant_supply_temperature", "Coolant supply temperature", "degC", 1, -30, 200, BOTH,
             slow=True),
    Quantity("coolant_return_temperature", "Coolant return temperature", "degC", 1, -30, 200, SHOT,
             slow=True),
    Quantity("coolant_flow", "Coolant flow", "L/min", 2, 0, 500, SHOT),
    Quantity("clamp_force", "Clamp force", "kN", 0, 0, 50000, SHOT),
    Quantity("part_weight", "Part weight", "g", 2, 1, 5000, SHOT, vital=True,
             note="All discs of the shot, weighed at the press."),
    Quantity("ambient_temperature", "Ambient temperature", "degC", 1, -20, 60, SHOT, slow=True),
    Quantity("injection_speed", "Injection speed", "mm/s", 1, 0.1, 2000, SETPOINT),
    Quantity("injection_pressure_limit", "Injection pressure limit", "MPa", 1, 0.5, 400, SETPOINT, note=MELT),
    Quantity("hold_pressure", "Hold pressure", "MPa", 1, 0, 350, SETPOINT, note=MELT),
    Quantity("dome", "Dome", "mm", 2, -20, 40, DISC, set_time_h=24.0,
             note="Height of the center over the plate's shoulder, top side up on its rim, at low force."),
    Quantity("diameter", "Diameter", "mm", 2, 10, 500, DISC, set_time_h=24.0,
             note="Largest outside diameter."),
    Quantity("weight", "Weight", "g", 2, 1, 500, DISC, set_time_h=0.0,
             note="One disc without its sprue."),
)
# fmt: on

_BY_KEY = {quantity.key: quantity for quantity in QUANTITIES}


@lru_cache(maxsize=4096)
def find(key: str) -> Quantity | None:
    """Look up a quantity by its key; `barrel_temperature.3` gives the row with zone 3 in key and label.

    Parameters
    ----------
    key : str
        Message key, with a dotted zone number where the quantity has zones.

    Returns
    -------
    Quantity or None
        None when the table does not know the key; such keys live by the unit their message gives.
    """
    base, dot, zone = key.partition(".")
    quantity = _BY_KEY.get(base)
    if quantity is None or not dot:
        return quantity
    if not (quantity.zoned and is_zone(zone)):
        return None
    return replace(quantity, key=key, label=f"{quantity.label}, zone {zone}")


def is_timer(key: str) -> bool:
    """Whether a key is known to be set by a timer of the press."""
    quantity = find(key)
    return quantity is not None and quantity.timer


def is_slow(key: str) -> bool:
    """Whether a key is known to change over minutes only."""
    quantity = find(key)
    return quantity is not None and quantity.slow


def is_zone(text: str) -> bool:
    """Whether `text` is a zone number as written in a key: 1, 2, ... 99 without leading zeros."""
    return text.isascii() and text.isdigit() and len(text) <= 2 and text[0] != "0"


def label(key: str) -> str:
    """Name of a key for people; an unknown key is spelled out from its own words."""
    quantity = find(key)
    if quantity is not None:
        return quantity.label
    base, dot, zone = key.partition(".")
    words = base.replace("_", " ").strip().capitalize()
    return f"{words}, {zone}" if dot else words


def unit(key: str) -> str | None:
    """Canonical unit of a known key, None for an unknown one."""
    quantity = find(key)
    return None if quantity is None else quantity.unit


def format_value(key: str, value: float, unit: str | None = None) -> str:
    """Write a value with the key's decimals and its unit, as people read it.

    Parameters
    ----------
    key : str
        Known or unknown key.
    value : float
        In the canonical unit, or in `unit` for an unknown key.
    unit : str, optional
        Unit of an unknown key; ignored for known ones.

    Returns
    -------
    str
        Such as ``74.20 MPa``.
    """
    quantity = find(key)
    if quantity is None:
        return f"{significant(value, 4)} {symbol(unit)}".rstrip() if unit else significant(value, 4)
    return f"{value:.{quantity.decimals}f} {symbol(quantity.unit)}"
