"""What is in the hopper: lot, moisture, regrind, color."""

from __future__ import annotations

from collector.alarms.fault_table.groups import MATERIAL, THINNER
from collector.alarms.fault_table.row import Fault

MATERIAL_FAULTS: tuple[Fault, ...] = (
    Fault(
        row=1,
        name="Stiffer melt: a new lot, less regrind, or drier material",
        patterns=(
            {
                "peak_melt_pressure": "+", "recovery_time": "+", "cushion": "+?", "part_weight": "-?",
                "injection_time": "=", "cycle_time": "=", "barrel_temperature": "=",
                "nozzle_temperature": "=", "mold_core_temperature": "=", "mold_cavity_temperature": "=",
            },
        ),
        group=MATERIAL,
        tempo=("step",),
        happenings=("lot",),
        operator=(
            "Read the lot label on the hopper or container and note when it was changed.",
            "Compare the blend and regrind ratio with the batch sheet.",
            "Read the dryer's display: temperature and hours.",
        ),
        technician=("Compare the change with the time of the lot change on this page.",),
    ),
    Fault(
        row=2,
        name="Stiffer melt while injection sits at its pressure limit",
        patterns=(
            {
                "injection_time": "+", "peak_melt_pressure": "=", "recovery_time": "+", "cushion": "+",
                "part_weight": "-?", "cycle_time": "=", "barrel_temperature": "=",
                "mold_core_temperature": "=", "mold_cavity_temperature": "=",
            },
        ),
        tempo=("step", "spread"),
        happenings=("lot",),
        operator=(
            "Read the lot label and note when it was changed.",
            "Note peak pressure and the pressure limit from the screen of the press.",
        ),
        technician=("Check that the pressure limit leaves its usual margin above what filling needs.",),
    ),
    Fault(
        row=3,
        name="Thinner melt: damp material",
        patterns=(
            {
                "peak_melt_pressure": "-", "cushion": "-", "recovery_time": "-", "injection_time": "-?",
                "part_weight": "-?", "cycle_time": "=", "barrel_temperature": "=", "nozzle_temperature": "=",
                "back_pressure": "=", "mold_core_temperature": "=", "mold_cavity_temperature": "=",
            },
        ),
        group=THINNER,
        tempo=("drift",),
        operator=(
            "Read dryer temperature, dew point and hours since drying began.",
            "See that the hopper lid is closed.",
            "Look at the discs for silver streaks and bubbles.",
        ),
        technician=("Have a moisture sample taken.",),
    ),
    Fault(
        row=24,
        name="Uneven regrind, or foreign material",
        patterns=(
            {
                "injection_time": "~", "peak_melt_pressure": "~", "cushion": "~", "recovery_time": "~",
                "part_weight": "~", "cycle_time": "=", "mold_core_temperature": "=",
                "mold_cavity_temperature": "=",
            },
        ),
        group=MATERIAL,
        tempo=("spread",),
        operator=("Compare the blend log with the recipe.", "Look at the pellets: size, color, dust."),
    ),
    Fault(
        row=28,
        name="New color or masterbatch",
        patterns=(
            {
                "peak_melt_pressure": "~", "recovery_time": "~", "cushion": "~", "injection_time": "~",
                "part_weight": "~", "cycle_time": "=", "barrel_temperature": "=",
                "mold_core_temperature": "=", "mold_cavity_temperature": "=",
            },
        ),
        group=MATERIAL,
        tempo=("step",),
        happenings=("color",),
        operator=("Note color and time of the change.", "Read the dosing unit's setting."),
        technician=("If it stays, have a baseline for this color approved.",),
    ),
)
