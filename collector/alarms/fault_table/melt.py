"""Between hopper and gate: check ring, nozzle, back pressure, feed, screw."""

from __future__ import annotations

from collector.alarms.fault_table.groups import FEED, LOST_MELT
from collector.alarms.fault_table.row import Fault

MELT: tuple[Fault, ...] = (
    Fault(
        row=4,
        name="Worn check ring (non-return valve)",
        patterns=(
            {
                "cushion": "-", "part_weight": "-", "peak_melt_pressure": "-?", "injection_time": "=",
                "recovery_time": "=", "cycle_time": "=", "nozzle_temperature": "=",
                "mold_core_temperature": "=", "mold_cavity_temperature": "=",
            },
        ),
        group=LOST_MELT,
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
        row=5,
        name="Check ring did not seat on that shot, or debris lies under it",
        patterns=(
            {
                "cushion": "-", "peak_melt_pressure": "-?", "part_weight": "-?", "injection_time": "=",
                "recovery_time": "=", "cycle_time": "=",
            },
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
        row=6,
        name="Cushion used up: the screw has run out of melt",
        patterns=(
            {
                "cushion": "-", "part_weight": "-", "hold_melt_pressure": "-", "injection_time": "=",
                "recovery_time": "=", "cycle_time": "=", "mold_core_temperature": "=",
                "mold_cavity_temperature": "=",
            },
        ),
        group=LOST_MELT,
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
        row=7,
        name="Leak at nozzle or sprue",
        patterns=(
            {
                "cushion": "-", "peak_melt_pressure": "-", "part_weight": "-", "nozzle_temperature": "-",
                "injection_time": "=", "recovery_time": "=", "cycle_time": "=", "mold_core_temperature": "=",
                "mold_cavity_temperature": "=",
            },
        ),
        group=LOST_MELT,
        tempo=("drift",),
        operator=("Look for melt around the nozzle through the closed guard.",),
        technician=("Check nozzle seat and sprue bushing under lockout.",),
        hazards=("guards", "hot_melt", "stored_energy", "servicing"),
    ),
    Fault(
        row=17,
        name="Back pressure lost or changed",
        patterns=(
            {
                "back_pressure": "-", "recovery_time": "-", "peak_melt_pressure": "-?", "cushion": "-",
                "part_weight": "~", "injection_time": "=", "cycle_time": "=",
            },
            {
                "back_pressure": "+", "recovery_time": "+", "peak_melt_pressure": "+?", "cushion": "+",
                "part_weight": "~", "injection_time": "=", "cycle_time": "=",
            },
        ),
        tempo=("step", "spread"),
        happenings=("setpoint back_pressure",),
        operator=("Compare back pressure with the recipe; it is easily left low after a purge.",),
        technician=("Restore the recipe's value and watch part weight.",),
    ),
    Fault(
        row=18,
        name="Material bridges in the throat, or the hopper runs empty",
        patterns=(
            {
                "recovery_time": "+", "cycle_time": "+", "peak_melt_pressure": "-", "cushion": "-",
                "part_weight": "-", "injection_time": "=",
            },
        ),
        group=FEED,
        tempo=("step", "single", "spread"),
        operator=(
            "Look at the hopper's level and its slide.",
            "See whether pellets stick together in the hopper's sight glass.",
        ),
        technician=("Check throat cooling and magnet with the screw locked out.",),
        hazards=("guards", "hot_melt", "servicing"),
    ),
    Fault(
        row=19,
        name="Worn screw or barrel",
        patterns=(
            {
                "recovery_time": "+", "peak_melt_pressure": "-", "cushion": "-", "part_weight": "~",
                "injection_time": "+?", "cycle_time": "=",
            },
        ),
        group=FEED,
        tempo=("drift", "spread"),
        operator=("Look at recovery time over the last weeks on the press page.",),
        technician=("Measure screw and barrel at the next planned stop.",),
        hazards=("servicing", "hot_melt"),
    ),
)
