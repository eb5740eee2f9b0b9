"""Drive, settings and data of the press."""

from __future__ import annotations

from collector.alarms.fault_table.row import EITHER, Fault

PRESS: tuple[Fault, ...] = (
    Fault(
        row=21,
        name="Hot oil or a worn pump (hydraulic press)",
        patterns=(
            {
                "injection_time": "+", "peak_melt_pressure": "-", "recovery_time": "+", "cycle_time": "+",
                "mold_core_temperature": "=", "mold_cavity_temperature": "=",
            },
            {
                "injection_time": "+", "peak_hydraulic_pressure": "-", "recovery_time": "+",
                "cycle_time": "+",
            },
        ),
        tempo=("drift",),
        operator=("Read oil temperature and level at the press.",),
        technician=("Check oil cooler, filter and pump capacity.",),
        hazards=("stored_energy", "servicing"),
    ),
    Fault(
        row=22,
        name="Switchover point moved",
        patterns=tuple(
            {
                "switchover_position": position, "peak_melt_pressure": pressure, "cushion": cushion,
                "injection_time": "~", "part_weight": "~", "recovery_time": "=", "cycle_time": "=",
            }
            for position in EITHER
            for pressure, cushion in (EITHER, EITHER[::-1])
        ),
        tempo=("step",),
        happenings=("setpoint switchover_position", "setpoint switchover_volume"),
        operator=("Compare the switchover setting with the recipe.", "Ask who changed it, and when and why."),
    ),
    Fault(
        row=27,
        name="The data, not the press: sensor, unit or gateway",
        patterns=(
            {
                "injection_time": "~", "cycle_time": "~", "recovery_time": "~", "part_weight": "=",
                "cushion": "=",
            },
        ),
        tempo=("step",),
        operator=(
            "Compare the values here with the screen of the press.",
            "See whether values repeat exactly, or all jumped on the same shot.",
        ),
        technician=("Check what was changed at the gateway: unit, scaling, mapping.",),
    ),
)
