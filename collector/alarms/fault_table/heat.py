"""The heats of barrel and nozzle."""

from __future__ import annotations

from collector.alarms.fault_table.groups import THINNER
from collector.alarms.fault_table.row import Fault

HEAT: tuple[Fault, ...] = (
    Fault(
        row=8,
        name="A heater band is open",
        patterns=tuple(
            {
                zone: "-", "peak_melt_pressure": "+", "recovery_time": "+?", "injection_time": "+?",
                "cushion": "+?", "part_weight": "-?", "cycle_time": "=",
            }
            for zone in ("barrel_temperature", "nozzle_temperature")
        ),
        tempo=("drift",),
        operator=(
            "Read actual and set temperature of each zone on the screen of the press.",
            "Note which zone's heater output stays at its maximum.",
        ),
        technician=("Have band, wiring and fuse of that zone checked.",),
        hazards=("guards", "electrical", "servicing"),
    ),
    Fault(
        row=9,
        name="A thermocouple reads low, so its zone runs too hot",
        patterns=(
            {
                "peak_melt_pressure": "-", "recovery_time": "-", "cushion": "-", "injection_time": "-",
                "part_weight": "+?", "barrel_temperature": "=", "nozzle_temperature": "=", "cycle_time": "=",
            },
        ),
        group=THINNER,
        tempo=("step", "drift"),
        operator=(
            "Notice smell, smoke or a changed color of the discs; if there is any, keep away and call.",
        ),
        technician=(
            "Measure melt temperature as the procedure says and compare with the zones.",
            "Check that the thermocouple sits in its well.",
        ),
        hazards=("overheating", "hot_melt", "electrical"),
    ),
    Fault(
        row=10,
        name="A heater's switch is stuck on",
        patterns=tuple(
            {
                zone: "+", "peak_melt_pressure": "-", "recovery_time": "-?", "injection_time": "-?",
                "part_weight": "+?", "cycle_time": "=",
            }
            for zone in ("barrel_temperature", "nozzle_temperature")
        ),
        tempo=("drift",),
        operator=("Read which zone is above its setting, and call the technician.",),
        technician=("Take the heats off as the procedure says, then have the switch checked.",),
        hazards=("overheating", "hot_melt", "electrical"),
    ),
)
