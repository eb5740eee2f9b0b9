"""Which quantity a column is, from the ideas of its header: the first rule that fits."""

from __future__ import annotations

from dataclasses import dataclass

from collector.contract import quantities, units
from collector.sources.inspection.words import OF_UNITS, guessed_letters, ideas, last_number, slug


@dataclass(frozen=True, slots=True)
class Rule:
    """A quantity, the ideas that its header must have, and those that it must not."""

    key: str
    needs: frozenset[str]
    without: frozenset[str] = frozenset()


def _rule(key: str, needs: str, without: str = "") -> Rule:
    return Rule(key, frozenset(needs.split()), frozenset(without.split()))


# What is named after a place that is heated, and after nothing that is measured there, is its temperature.
_NO_TEMPERATURE = "pressure time force position volume flow speed rotation weight torque count"

# More particular rules stand before more general ones. Keys that the table of quantities lacks are ours.
RULES: tuple[Rule, ...] = (
    _rule("cushion_volume", "cushion volume"),
    _rule("cushion_volume", "minimum screw volume"),
    _rule("cushion", "cushion", "pressure time temperature"),
    _rule("cushion", "minimum screw position"),
    _rule("switchover_melt_pressure", "switchover pressure", "hydraulic"),
    _rule("switchover_volume", "switchover volume"),
    _rule("switchover_position", "switchover", "pressure time speed temperature"),
    _rule("hold_time", "hold time"),
    _rule("hold_pressure", "hold pressure set"),
    _rule("hold_melt_pressure", "hold pressure"),
    _rule("back_pressure", "back pressure"),
    _rule("cooling_time", "cooling time"),
    _rule("recovery_time", "recovery time"),
    _rule("mold_open_time", "mold open time"),
    _rule("mold_open_time", "open time"),
    _rule("injection_time", "injection time", "pressure"),
    _rule("cycle_time", "cycle time"),
    _rule("time_in_mold", "time mold", "temperature"),
    _rule("cavity_peak_pressure", "cavity pressure", "integral hold"),
    _rule("injection_pressure_limit", "injection pressure limit"),
    _rule("injection_pressure_limit", "injection pressure set"),
    _rule("peak_hydraulic_pressure", "pressure hydraulic", "minimum average integral"),
    _rule("peak_melt_pressure", "pressure peak", "integral time"),
    _rule("peak_melt_pressure", "pressure injection", "minimum average integral time"),
    _rule("clamp_force", "clamp force"),
    _rule("clamp_force", "clamp", "time pressure position"),
    _rule("screw_torque", "torque"),
    _rule("screw_speed", "rotation"),
    _rule("screw_speed", "screw speed", "injection"),
    _rule("screw_speed", "recovery speed"),
    _rule("injection_speed", "injection speed"),
    _rule("screw_start_position", "recovery position"),
    _rule("screw_start_position", "screw start", "time temperature volume"),
    _rule("screw_start_position", "shot size"),
    # The mold half on the nozzle's side, which German calls Düsenseite, or Düse for short.
    _rule("mold_cavity_temperature", "mold nozzle temperature"),
    _rule("nozzle_temperature", "nozzle temperature"),
    _rule("barrel_temperature", "barrel temperature"),
    _rule("barrel_temperature", "barrel zone"),
    _rule("barrel_temperature", "zone temperature", "mold coolant oil"),
    _rule("coolant_supply_temperature", "coolant supply", "flow pressure"),
    _rule("coolant_return_temperature", "coolant return", "flow pressure"),
    _rule("coolant_flow", "coolant flow"),
    _rule("mold_core_temperature", "core temperature"),
    _rule("mold_cavity_temperature", "cavity temperature"),
    _rule("mold_temperature", "mold temperature"),
    _rule("oil_temperature", "oil temperature"),
    _rule("ambient_temperature", "ambient temperature"),
    _rule("ambient_temperature", "ambient", "pressure flow"),
    _rule("part_weight", "weight"),
    _rule("dome", "dome"),
    _rule("roundness", "roundness"),
    _rule("inner_diameter", "diameter inner"),
    _rule("diameter", "diameter"),
    _rule("nozzle_temperature", "nozzle", _NO_TEMPERATURE),
    _rule("barrel_temperature", "zone", f"{_NO_TEMPERATURE} mold coolant oil"),
    _rule("oil_temperature", "oil", _NO_TEMPERATURE),
)
DISC = frozenset({"part_weight", "dome", "roundness", "inner_diameter", "diameter"})
_LENGTHS = ("width", "height", "thickness")
# Names that are nothing else: common practice, no source.
_ABBREVIATED = {"CYC": "time", "W": "weight"}
_ZONED = frozenset({"barrel_temperature", "mold_temperature"})


@dataclass(frozen=True, slots=True)
class Meaning:
    """What a header says: the quantity's key, whether it is a setting, an actual, or of a disc."""

    key: str | None
    said: frozenset[str]
    slug: str
    guesses: tuple[str, ...] = ()  # what is taken for what in an abbreviation

    @property
    def is_set(self) -> bool:
        """Whether the header speaks of a setting."""
        return "set" in self.said and "actual" not in self.said

    @property
    def of_disc(self) -> bool:
        """Whether it speaks of what is measured on a disc."""
        lengths = bool(self.said & set(_LENGTHS)) and not self.said & {"pressure", "temperature", "time"}
        return self.key in DISC or "quality" in self.said or lengths


def meaning(name: str, unit: str | None = None) -> Meaning:
    """What a column's name, without its unit, speaks of; the unit says of what kind the quantity is."""
    kind = None if unit is None else OF_UNITS.get(units.canonical(unit))
    said = ideas(name, kind) | ({kind} if kind is not None else set())
    letters = {name: _ABBREVIATED[name]} if name in _ABBREVIATED else guessed_letters(name, kind)
    said |= frozenset(letters.values())
    key = next((rule.key for rule in RULES if rule.needs <= said and not rule.without & said), None)
    if key is not None and key in _ZONED:
        key = _zoned(key, name)
    taken = () if kind is not None else tuple(_taken(*each) for each in letters.items())
    return Meaning(key, said, slug(name), taken)


def _taken(letters: str, idea: str) -> str:
    return f"{letters} is taken for {idea}" + (", but may mean temperature" if letters == "T" else "")


def _zoned(key: str, name: str) -> str:
    number = last_number(name)
    return key if number is None or not 1 <= number <= 99 else f"{key}.{number}"


def is_known_setting(key: str) -> bool:
    """Whether the table of quantities lets a key be a setpoint."""
    quantity = quantities.find(key)
    return quantity is not None and "setpoint" in quantity.applies_to


def is_known_value(key: str) -> bool:
    """Whether a key may stand among a shot's values: the table says so, or does not know it."""
    quantity = quantities.find(key)
    return quantity is None or "shot" in quantity.applies_to
