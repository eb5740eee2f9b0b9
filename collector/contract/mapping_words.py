"""What a sender's name of a number most likely means: words of the trade, in English and German.

Guesses only, for a person to check: common practice, no source. Every guess is offered as a proposal and
never used by itself.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from collector.contract import units
from collector.contract.quantities import Scope, find

_PARTS = re.compile(r"[A-ZÄÖÜ]+(?![a-zäöüß])|[A-ZÄÖÜ]?[a-zäöüß]+|\d+|[°%]+")
# Names that are written as one word, taken apart.
_COMPOUNDS = {
    "pmax": "max pressure", "pinj": "injection pressure", "tinj": "injection time", "tcyc": "cycle time",
    "cycletime": "cycle time", "injtime": "injection time", "filltime": "fill time",
    "cooltime": "cooling time",
    "holdtime": "hold time", "tcore": "core temperature", "tcav": "cavity temperature", "vp": "switchover",
    "zykluszeit": "cycle time", "einspritzzeit": "injection time", "dosierzeit": "dosing time",
    "kühlzeit": "cooling time", "nachdruckzeit": "hold time", "massepolster": "cushion",
    "spritzdruck": "max pressure", "umschaltpunkt": "switchover position", "backpressure": "back pressure",
    "setpoint": "set", "setpoints": "set", "partweight": "part weight", "shotweight": "part weight",
    "clampforce": "clamp force", "schließkraft": "clamp force", "screwspeed": "screw speed",
    "rpm": "screw speed",
    "staudruck": "back pressure", "nachdruck": "hold pressure", "werkzeugtemperatur": "mold temperature",
    "clampingforce": "clamp force", "holdpressure": "hold pressure", "meltpressure": "melt pressure",
}

TIME = {"time", "t", "zeit", "dur", "duration", "tm"}
PRESSURE = {"pressure", "press", "p", "druck", "prs"}
POSITION = {"position", "pos", "stroke", "weg", "pt", "point"}
VOLUME = {"volume", "vol"}
TEMPERATURE = {"temperature", "temp", "t", "temps", "temperatures", "tmp"}
INJECTION = {"injection", "inj", "inject", "fill", "filling"}
RECOVERY = {"recovery", "dosing", "dose", "metering", "plasticizing", "plast", "charge", "charging", "dos"}
HOLD = {"hold", "holding", "pack", "packing", "hld"}
COOLING = {"cooling", "cool", "cooltm"}
SWITCH = {"switchover", "transfer", "changeover", "switch", "cutoff", "cpt", "umschalt"}
PEAK = {"peak", "max", "maximum", "pk"}
CUSHION = {"cushion", "cush", "polster", "csh"}
COOLANT = {"coolant", "water", "chiller"}
SUPPLY, RETURN = {"supply", "inlet", "in", "flow"}, {"return", "outlet", "out"}
BARREL = {"barrel", "cylinder", "zylinder", "brl"}
MOLD = {"mold", "mould", "tool", "die"}

# Quantity and what its name must say, one of each set; what says more comes first.
_RULES: tuple[tuple[str, tuple[set[str], ...]], ...] = (
    ("coolant_supply_temperature", (COOLANT, SUPPLY, TEMPERATURE)),
    ("coolant_return_temperature", (COOLANT, RETURN, TEMPERATURE)),
    ("peak_hydraulic_pressure", ({"hydraulic", "hyd", "oil"}, PEAK, PRESSURE)),
    ("peak_hydraulic_pressure", ({"hydraulic", "hyd", "oil"}, PRESSURE)),
    ("injection_pressure_limit", (INJECTION, {"limit", "lim", "max"}, PRESSURE)),
    ("switchover_melt_pressure", (SWITCH, PRESSURE)),
    ("switchover_volume", (SWITCH, VOLUME)),
    ("switchover_position", (SWITCH, POSITION)),
    ("screw_start_position", ({"start", "dosing", "shot"}, POSITION | {"size"})),
    ("cushion_volume", (CUSHION, VOLUME)),
    ("mold_core_temperature", ({"core", "moving", "kern"}, TEMPERATURE)),
    ("mold_cavity_temperature", ({"cavity", "cav", "fixed", "stationary"}, TEMPERATURE)),
    ("nozzle_temperature", ({"nozzle", "noz", "düse"}, TEMPERATURE)),
    ("ambient_temperature", ({"ambient", "room", "air"}, TEMPERATURE)),
    ("barrel_temperature", (BARREL | {"zone", "zones", "heater"}, TEMPERATURE)),
    ("time_in_mold", ({"in"}, MOLD, TIME)),
    ("mold_open_time", ({"open"}, TIME)),
    ("cooling_time", (COOLING, TIME)),
    ("hold_time", (HOLD, TIME)),
    ("recovery_time", (RECOVERY, TIME)),
    ("injection_time", (INJECTION, TIME)),
    ("cycle_time", ({"cycle", "cyc", "zyklus", "cyctm"}, TIME)),
    ("back_pressure", ({"back", "bp"}, PRESSURE)),
    ("hold_pressure", (HOLD, PRESSURE)),
    ("hold_melt_pressure", (HOLD, PRESSURE)),
    ("injection_pressure_limit", (INJECTION, PRESSURE)),
    ("peak_melt_pressure", (PEAK, PRESSURE)),
    ("peak_melt_pressure", (INJECTION, PRESSURE)),
    ("peak_melt_pressure", ({"melt", "specific"}, PRESSURE)),
    ("injection_speed", (INJECTION, {"speed", "velocity", "v", "vel"})),
    ("screw_torque", ({"torque", "drehmoment"},)),
    ("screw_speed", ({"screw", "scr"}, {"speed", "rpm", "rev"})),
    ("coolant_flow", ({"flow", "flowrate"},)),
    ("clamp_force", ({"clamp", "clamping", "closing"}, {"force", "tonnage"})),
    ("part_weight", ({"weight", "mass", "gewicht"},)),
    ("cushion", (CUSHION,)),
    ("barrel_temperature", (BARREL,)),
    ("cycle_time", ({"cyc", "cycle"},)),
    ("cooling_time", ({"cooling"},)),
)
SET_WORDS = {"set", "sp", "soll", "target", "nominal", "sv", "setting", "settings"}
# Words that make no other quantity of one.
_FILLERS = SET_WORDS | {"act", "actual", "value", "ist", "imm", "process", "data", "last", "tm", "press"}
_NOISE_UNITS = {"m", "h", "L", "N", "1", "K"}  # more often a letter of a name than a unit
_UNIT_WORDS = {"c": "degC", "f": "degF", "sec": "s", "msec": "ms", "celsius": "degC", "fahrenheit": "degF"}

ROLES: dict[str, set[str]] = {
    "counter": {"counter", "count", "cnt", "seq", "sequence", "shots", "cycles", "number", "no", "nr"},
    "run": {"run", "order", "job", "auftrag", "workorder"},
    "tray": {"tray", "box", "bin", "crate"},
    "press": {"press", "machine", "imm", "equipment", "maschine", "machineid", "device"},
    "time": {"time", "timestamp", "ts", "datetime", "ended", "end", "date", "at", "utc", "zeit"},
    "state": {"state", "mode", "status", "operation"},
    "kind": {"type", "event", "kind", "msgtype", "messagetype"},
}


def words_of(name: str) -> list[str]:
    """The words of a name, small: ``ActPmax_bar`` gives act, max, pressure, bar."""
    found: list[str] = []
    whole = _COMPOUNDS.get(name.lower().replace("_", "").replace("-", ""))
    for part in _PARTS.findall(name) if whole is None else whole.split():
        small = part.lower()
        found += _COMPOUNDS.get(small, small).split()
    return found


def guess_key(steps: Sequence[str]) -> tuple[str, Scope] | None:
    """The quantity that a number at this place most likely is, and whether it is set or measured.

    Parameters
    ----------
    steps : sequence of str
        Names on the way to the number, outermost first.

    Returns
    -------
    tuple of (str, str) or None
        A key that may stand there, and ``shot`` or ``setpoint``.
    """
    ways = [words_of(step) for step in steps if not step.isdigit()]
    everything = {word for way in ways for word in way}
    scope: Scope = "setpoint" if everything & SET_WORDS else "shot"
    # The innermost name first, then with the names around it, as in {"injection": {"time": 2.4}}.
    for depth in range(1, min(len(ways), 3) + 1):
        words = {word for way in ways[-depth:] for word in way}
        for key, wanted in _RULES:
            quantity = find(key)
            if quantity and scope in quantity.applies_to and all(words & each for each in wanted):
                return key, scope
    return None


def other_words(key: str, name: str) -> list[str]:
    """Words of a name that say something else than that the number is the quantity `key`."""
    told: set[str] = set()
    for rule, wanted in _RULES:
        if rule == key.partition(".")[0]:
            told = told.union(*wanted)
    words = [word for word in words_of(name) if not word.isdigit() and word not in told | _FILLERS | _UNITS]
    return [word for word in words if word not in {"°", "%"}]


def guess_zone(steps: Sequence[str]) -> int | None:
    """The zone that a name ends in, as ``zone3`` or ``temp_03``."""
    for step in reversed(steps):
        digits = re.search(r"(\d{1,2})\D*$", step)
        if digits and 1 <= int(digits[1]) <= 99 and not step.isdigit():
            return int(digits[1])
    return None


def guess_unit(name: str) -> str | None:
    """The unit that a name ends in, as ``pmax_bar`` or ``T core [°C]``."""
    bracket = re.search(r"[\[(]([^\[\]()]+)[\])]\s*$", name)
    endings = [bracket[1]] if bracket else [name.rpartition("_")[2], *_last_parts(name)]
    for ending in endings:
        if ending == name:
            continue
        small = ending.lower()
        unit = _UNIT_WORDS.get(small) or units.normal_name(ending) or units.normal_name(small)
        if unit is not None and unit not in _NOISE_UNITS and unit in _TABLE:
            return unit
    return None


_TABLE = {unit.name for unit in units.UNITS}
_UNITS = {each.lower() for unit in units.UNITS for each in (unit.name, *unit.spellings)} | set(_UNIT_WORDS)


def _last_parts(name: str) -> list[str]:
    parts = _PARTS.findall(name)
    return parts[-1:] if len(parts) > 1 else []


def has_role(name: str, role: str) -> bool:
    """Whether a name is one of those that the member `role` mostly has."""
    words = words_of(name)
    return bool(words) and (
        "".join(words) in ROLES[role] or words[-1] in ROLES[role] or words[0] in ROLES[role]
    )
