"""Mold, coolant and the pace of the cycle."""

from __future__ import annotations

from collector.alarms.fault_table.row import Fault, Pattern

_UNCOOLED: tuple[Pattern, ...] = (
    {"mold_core_temperature": "+", "coolant_flow": "-", "cycle_time": "="},
    {"mold_cavity_temperature": "+", "coolant_flow": "-", "cycle_time": "="},
    {"mold_core_temperature": "+", "mold_cavity_temperature": "=", "cycle_time": "="},
    {"mold_cavity_temperature": "+", "mold_core_temperature": "=", "cycle_time": "="},
    {"mold_core_temperature": "+", "mold_cavity_temperature": "+", "cycle_time": "="},
)
# Melt that freezes warmer at the same pressure is less dense, so the part may come out lighter. Common
# practice, no source; a small effect, so its absence says nothing.
_UNCOOLED_LIGHTER: tuple[Pattern, ...] = tuple({**pattern, "part_weight": "-"} for pattern in _UNCOOLED)

MOLD: tuple[Fault, ...] = (
    Fault(
        name="Coolant line blocked or valve closed",
        patterns=(*_UNCOOLED, *_UNCOOLED_LIGHTER),
        tempo=("drift",),
        operator=(
            "Read the flow indicators of both mold halves.",
            "See from outside the guards whether a valve was left closed after a mold change.",
            "Read supply and return temperature on the screen; leave the lines alone.",
        ),
        technician=("Check filter and circuit for scale, with the line relieved.",),
        hazards=("guards", "mold_water", "servicing"),
    ),
    Fault(
        name="Chiller or temperature controller out of step",
        patterns=(
            {"coolant_supply_temperature": "+", "mold_core_temperature": "+", "mold_cavity_temperature": "+"},
            {"coolant_supply_temperature": "-", "mold_core_temperature": "-", "mold_cavity_temperature": "-"},
            {"mold_core_temperature": "+", "mold_cavity_temperature": "+", "coolant_flow": "="},
        ),
        tempo=("drift",),
        operator=(
            "Read supply temperature and tank level at the chiller.",
            "See whether other presses on the same water show the same.",
        ),
        technician=("Check pump, setting and refrigeration of the unit.",),
        hazards=("guards", "mold_water", "electrical"),
    ),
    Fault(
        name="One mold half at another temperature than the other",
        patterns=(
            {"mold_core_temperature": "+", "mold_cavity_temperature": "="},
            {"mold_cavity_temperature": "+", "mold_core_temperature": "="},
            {"mold_core_temperature": "-", "mold_cavity_temperature": "="},
            {"mold_cavity_temperature": "-", "mold_core_temperature": "="},
        ),
        tempo=("drift", "step"),
        operator=(
            "Compare the two halves' temperatures, and the flow indicators of both.",
            "Gauge dome on the held discs: it answers to the difference between the halves.",
        ),
        technician=("Check that the hoses of the two halves were not swapped at the last mold change.",),
        hazards=("guards", "mold_water"),
    ),
    Fault(
        name="Cooling timer set shorter or longer",
        patterns=(
            {"cooling_time": "-", "cycle_time": "-", "time_in_mold": "-"},
            {"cooling_time": "+", "cycle_time": "+", "time_in_mold": "+"},
            {"cycle_time": "-", "mold_core_temperature": "+", "mold_cavity_temperature": "+"},
        ),
        tempo=("step",),
        operator=("Compare the timer with the recipe sheet.", "Ask who changed it, and when and why."),
        technician=("Decide with quality whether the recipe's value is restored.",),
    ),
    Fault(
        name="Operator-paced safety gate: uneven time with the mold open",
        patterns=(
            {"mold_open_time": "~", "cycle_time": "~", "mold_core_temperature": "-"},
            {"mold_open_time": "+", "cycle_time": "+"},
            {"cycle_time": "+", "mold_core_temperature": "-", "mold_cavity_temperature": "-"},
        ),
        tempo=("spread", "cyclic"),
        operator=(
            "Compare mold-open time by shift on the press page.",
            "Say what keeps the disc from coming out evenly: packing, trimming, a second press.",
        ),
    ),
    Fault(
        name="Return after a stop",
        patterns=(
            {
                "mold_core_temperature": "~",
                "mold_cavity_temperature": "~",
                "peak_melt_pressure": "~",
                "cushion": "~",
                "injection_time": "~",
            },
        ),
        tempo=("drift",),
        operator=(
            "See whether the press stood in the half hour before.",
            "Keep the first discs after the stop apart.",
        ),
        technician=("Decide how many shots count as startup from now on.",),
    ),
    Fault(
        name="Clamp force low, or dirt on the parting line",
        patterns=(
            {"clamp_force": "-", "part_weight": "+", "cushion": "-"},
            {"part_weight": "+", "cushion": "-"},
        ),
        tempo=("step", "drift"),
        operator=("Look where the discs have flash.", "Compare clamp force with the recipe."),
        technician=("Clean and inspect the mold faces under lockout.",),
        hazards=("guards", "stored_energy", "servicing"),
    ),
    Fault(
        name="Vents blocked",
        patterns=({"injection_time": "+", "peak_melt_pressure": "+", "cushion": "+", "recovery_time": "="},),
        tempo=("drift",),
        operator=("Look for burn marks or short spots at the rim.",),
        technician=("Clean the vents under lockout.",),
        hazards=("guards", "servicing"),
    ),
    Fault(
        name="Day and night: the hall warmed up or cooled down",
        patterns=(
            {"ambient_temperature": "+", "mold_core_temperature": "+", "mold_cavity_temperature": "+"},
            {"ambient_temperature": "-", "mold_core_temperature": "-", "mold_cavity_temperature": "-"},
        ),
        tempo=("cyclic", "drift"),
        operator=("Look for open doors.", "Read the chiller's setting."),
    ),
    Fault(
        name="Robot or stripper late",
        patterns=(
            {"cycle_time": "+", "mold_core_temperature": "-", "injection_time": "=", "recovery_time": "="},
            {"cycle_time": "+", "mold_open_time": "+", "recovery_time": "="},
        ),
        tempo=("step", "spread"),
        operator=("Watch one removal with the guards closed.", "Read the air pressure gauge."),
        technician=("Check the part sensor and the air line.",),
        hazards=("guards", "stuck_part", "stored_energy"),
    ),
)
