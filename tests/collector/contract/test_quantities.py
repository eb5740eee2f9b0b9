"""The table of quantities."""

from __future__ import annotations

import csv
import os
from pathlib import Path

import pytest

from collector.contract import quantities, units
from collector.contract.quantities import QUANTITIES, find

OUTSIDE = os.environ.get("EVENRUN_OUTSIDE")


def test_keys_are_unique_and_units_are_canonical() -> None:
    keys = [quantity.key for quantity in QUANTITIES]

    assert len(keys) == len(set(keys))
    for quantity in QUANTITIES:
        assert units.normal_name(quantity.unit) == quantity.unit
        assert units.canonical(quantity.unit) == quantity.unit
        assert quantity.plausible_low < quantity.plausible_high


def test_a_zone_has_its_number_in_key_and_label() -> None:
    zone = find("barrel_temperature.3")

    assert zone is not None
    assert (zone.key, zone.label, zone.unit, zone.slow) == (
        "barrel_temperature.3",
        "Barrel temperature, zone 3",
        "degC",
        True,
    )


@pytest.mark.parametrize("key", ["barrel_temperature.0", "barrel_temperature.x", "cushion.1", "no_such", ""])
def test_what_is_not_in_the_table_is_not_found(key: str) -> None:
    assert find(key) is None


def test_values_are_written_with_their_unit() -> None:
    assert quantities.format_value("peak_melt_pressure", 74.2) == "74.20 MPa"
    assert quantities.format_value("barrel_temperature.2", 199.44) == "199.4 °C"
    assert quantities.format_value("switchover_volume", 13.5) == "13.50 cm³"
    assert quantities.format_value("gate_pressure", 50.0, "MPa") == "50 MPa"
    assert quantities.label("gate_pressure.2") == "Gate pressure, 2"


def test_eight_quantities_are_charted_by_default() -> None:
    assert {quantity.key for quantity in QUANTITIES if quantity.vital} == {
        "injection_time",
        "peak_melt_pressure",
        "cushion",
        "recovery_time",
        "mold_core_temperature",
        "mold_cavity_temperature",
        "cycle_time",
        "part_weight",
    }


def test_timers_are_not_charted_and_dome_waits_a_day() -> None:
    assert all(not quantity.vital for quantity in QUANTITIES if quantity.timer)
    dome, weight = find("dome"), find("weight")
    assert dome is not None
    assert weight is not None
    assert (dome.set_time_h, weight.set_time_h) == (24.0, 0.0)


@pytest.mark.skipif(OUTSIDE is None, reason="EVENRUN_OUTSIDE is not set: no copy of the standard's variables")
def test_opc_names_are_those_of_the_standard() -> None:
    # OPC 40077 (EUROMAP 77) nodeset, flattened. Temperature zones are named in the text of the standard
    # (browse names that a server makes up with the zone's number), so the nodeset cannot confirm them.
    with (Path(OUTSIDE or "") / "data/opc-40077/variables.csv").open(encoding="utf-8") as file:
        paths = [row["browse_path"] for row in csv.DictReader(file)]
    names = {step for path in paths for step in path.split("/")}

    listed = {quantity.opc_name for quantity in QUANTITIES if quantity.opc_name is not None}
    assert listed - names == {"BarrelTemperatureZoneCycleParameters", "MouldTemperatureZone"}
