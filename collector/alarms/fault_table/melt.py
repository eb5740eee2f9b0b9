"""Material, screw, barrel and heats."""

from __future__ import annotations

from collector.alarms.fault_table.row import Fault

MELT: tuple[Fault, ...] = (
    Fault(
        name="Stiffer melt: a new lot, less regrind, or drier material",
        patterns=(
            {"peak_melt_pressure": "+", "recovery_time": "+", "injection_time": "=", "cushion": "+"},
            {"peak_melt_pressure": "+", "recovery_time": "+", "part_weight": "-", "cycle_time": "="},
        ),
        tempo=("step",),
        operator=(
            "Read the lot label on the hopper or container and note when it was changed.",
            "Compare the blend and regrind ratio with the batch sheet.",
            "Read the dryer's display: temperature and hours.",
        ),
        technician=("Compare the change with the time of the lot change on this page.",),
    ),
    Fault(
        name="Stiffer melt while injection sits at its pressure limit",
        patterns=({"injection_time": "+", "peak_melt_pressure": "=", "recovery_time": "+", "cushion": "+"},),
        tempo=("step", "spread"),
        operator=(
            "Read the lot label and note when it was changed.",
            "Note peak pressure and the pressure limit from the screen of the press.",
        ),
        technician=("Check that the pressure limit leaves its usual margin above what filling needs.",),
    ),
    Fault(
        name="Thinner melt: damp material",
        patterns=(
            {"peak_melt_pressure": "-", "part_weight": "-", "recovery_time": "=", "cushion": "-"},
            {"peak_melt_pressure": "-", "injection_time": "-", "cushion": "-"},
        ),
        tempo=("drift",),
        operator=(
            "Read dryer temperature, dew point and hours since drying began.",
            "See that the hopper lid is closed.",
            "Look at the discs for silver streaks and bubbles.",
        ),
        technician=("Have a moisture sample taken.",),
    ),
    Fault(
        name="Worn check ring (non-return valve)",
        patterns=(
            {"cushion": "-", "part_weight": "-", "recovery_time": "=", "injection_time": "="},
            {"cushion": "-", "peak_melt_pressure": "-", "cycle_time": "="},
        ),
        tempo=("drift", "single", "spread"),
        operator=(
            "Look at how the cushion ran over the last days on the press page.",
            "Count how many single shots were low this shift.",
        ),
        technician=(
            "Weigh ten short shots made without hold, as the procedure says, and compare their spread.",
        ),
        hazards=("guards", "hot_melt", "servicing"),
    ),
    Fault(
        name="Check ring did not seat on that shot, or debris lies under it",
        patterns=(
            {"cushion": "-", "peak_melt_pressure": "-"},
            {"cushion": "-", "part_weight": "-"},
            {"cushion": "-"},
        ),
        tempo=("single",),
        operator=(
            "Set that disc aside and weigh it.",
            "Look in the hopper for foreign pieces.",
            "Count how often it happens; one in some thousands is usual.",
        ),
        technician=("Compare screw decompression with the recipe.",),
    ),
    Fault(
        name="Cushion used up: the screw has run out of melt",
        patterns=({"cushion": "-", "part_weight": "-", "hold_melt_pressure": "-"},),
        tempo=("step",),
        operator=(
            "Read cushion and shot size on the screen of the press and compare with the recipe.",
            "Look from outside for melt at the nozzle and for flash on the disc.",
            "See that material reaches the throat.",
        ),
        technician=("Find where the melt goes: feed, check ring, nozzle or flash.",),
        hazards=("guards", "hot_melt", "servicing"),
    ),
    Fault(
        name="Leak at nozzle or sprue",
        patterns=(
            {"cushion": "-", "nozzle_temperature": "-", "part_weight": "-"},
            {"cushion": "-", "peak_melt_pressure": "-", "part_weight": "-"},
        ),
        tempo=("drift",),
        operator=("Look for melt around the nozzle through the closed guard.",),
        technician=("Check nozzle seat and sprue bushing under lockout.",),
        hazards=("guards", "hot_melt", "stored_energy", "servicing"),
    ),
    Fault(
        name="A heater band is open",
        patterns=(
            {"barrel_temperature": "-", "recovery_time": "+", "peak_melt_pressure": "+"},
            {"nozzle_temperature": "-", "peak_melt_pressure": "+"},
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
        name="A thermocouple reads low, so its zone runs too hot",
        patterns=(
            {"peak_melt_pressure": "-", "recovery_time": "-", "cushion": "-", "barrel_temperature": "="},
        ),
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
        name="A heater's switch is stuck on",
        patterns=(
            {"barrel_temperature": "+", "peak_melt_pressure": "-", "recovery_time": "-"},
            {"nozzle_temperature": "+", "peak_melt_pressure": "-"},
        ),
        tempo=("drift",),
        operator=("Read which zone is above its setting, and call the technician.",),
        technician=("Take the heats off as the procedure says, then have the switch checked.",),
        hazards=("overheating", "hot_melt", "electrical"),
    ),
    Fault(
        name="Back pressure lost or changed",
        patterns=(
            {"back_pressure": "-", "recovery_time": "-", "cushion": "~"},
            {"back_pressure": "~", "recovery_time": "~", "part_weight": "~"},
            {"recovery_time": "-", "cushion": "-", "peak_melt_pressure": "-"},
        ),
        tempo=("step", "spread"),
        operator=("Compare back pressure with the recipe; it is easily left low after a purge.",),
        technician=("Restore the recipe's value and watch part weight.",),
    ),
    Fault(
        name="Material bridges in the throat, or the hopper runs empty",
        patterns=(
            {"recovery_time": "+", "cushion": "-", "cycle_time": "+"},
            {"recovery_time": "+", "part_weight": "-", "peak_melt_pressure": "-"},
        ),
        tempo=("step", "single", "spread"),
        operator=(
            "Look at the hopper's level and its slide.",
            "See whether pellets stick together in the hopper's sight glass.",
        ),
        technician=("Check throat cooling and magnet with the screw locked out.",),
        hazards=("guards", "hot_melt", "servicing"),
    ),
    Fault(
        name="Worn screw or barrel",
        patterns=(
            {"recovery_time": "+", "peak_melt_pressure": "-", "cushion": "-"},
            {"recovery_time": "+", "screw_torque": "~"},
        ),
        tempo=("drift", "spread"),
        operator=("Look at recovery time over the last weeks on the press page.",),
        technician=("Measure screw and barrel at the next planned stop.",),
        hazards=("servicing", "hot_melt"),
    ),
    Fault(
        name="Uneven regrind, or foreign material",
        patterns=({"injection_time": "~", "peak_melt_pressure": "~", "cushion": "~", "recovery_time": "~"},),
        tempo=("spread",),
        operator=("Compare the blend log with the recipe.", "Look at the pellets: size, color, dust."),
    ),
    Fault(
        name="New color or masterbatch",
        patterns=({"peak_melt_pressure": "~", "recovery_time": "~", "cushion": "~"},),
        tempo=("step",),
        operator=("Note color and time of the change.", "Read the dosing unit's setting."),
        technician=("If it stays, have a baseline for this color approved.",),
    ),
)
