"""Drive, settings and data of the press."""

from __future__ import annotations

from collector.alarms.fault_table.row import Fault

PRESS: tuple[Fault, ...] = (
    Fault(
        name="Hot oil or a worn pump (hydraulic press)",
        patterns=(
            {"injection_time": "+", "peak_hydraulic_pressure": "-", "cycle_time": "+"},
            {"injection_time": "+", "peak_melt_pressure": "-", "recovery_time": "+", "cycle_time": "+"},
        ),
        tempo=("drift",),
        operator=("Read oil temperature and level at the press.",),
        technician=("Check oil cooler, filter and pump capacity.",),
        hazards=("stored_energy", "servicing"),
    ),
    Fault(
        name="Switchover point moved",
        patterns=(
            {"switchover_position": "~", "cushion": "~", "peak_melt_pressure": "~"},
            {"switchover_position": "+", "peak_melt_pressure": "-", "injection_time": "-"},
            {"switchover_position": "-", "peak_melt_pressure": "+", "injection_time": "+"},
        ),
        tempo=("step",),
        operator=("Compare the switchover setting with the recipe.", "Ask who changed it, and when and why."),
    ),
    Fault(
        name="The data, not the press: sensor, unit or gateway",
        patterns=(
            {"injection_time": "~", "cycle_time": "~", "recovery_time": "~", "peak_melt_pressure": "~"},
        ),
        tempo=("step",),
        operator=(
            "Compare the values here with the screen of the press.",
            "See whether values repeat exactly, or all jumped on the same shot.",
        ),
        technician=("Check what was changed at the gateway: unit, scaling, mapping.",),
    ),
)
