"""Mold, coolant and the pace of the cycle."""

from __future__ import annotations

from collector.alarms.fault_table.groups import COOLING, PACE
from collector.alarms.fault_table.row import EITHER, SLIGHTLY, Fault, Pattern

_HALVES = ("mold_core_temperature", "mold_cavity_temperature")
_SAME_MELT: Pattern = {
    "injection_time": "=", "cushion": "=", "recovery_time": "=", "cycle_time": "=",
    # Melt that freezes warmer at the same pressure is less dense, so the part may come out lighter. Common
    # practice, no source; a small effect, so its absence says nothing.
    "peak_melt_pressure": "-?", "part_weight": "-?",
}  # fmt: skip
_WARM: tuple[Pattern, ...] = (
    {"mold_core_temperature": "+", "mold_cavity_temperature": "="},
    {"mold_cavity_temperature": "+", "mold_core_temperature": "="},
    {"mold_core_temperature": "+", "mold_cavity_temperature": "+"},
)
# Of presses that report the coolant's flow, and of those that do not.
_FLOWS: tuple[Pattern, ...] = ({"coolant_flow": "-", "coolant_supply_temperature": "="}, {})
_UNCOOLED: tuple[Pattern, ...] = tuple(
    {**_SAME_MELT, **warm, **flow} for warm in _WARM for flow in _FLOWS
)

MOLD: tuple[Fault, ...] = (
    Fault(
        row=11,
        name="Coolant line blocked or valve closed",
        patterns=_UNCOOLED,
        group=COOLING,
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
        row=12,
        name="Chiller or temperature controller out of step",
        patterns=tuple(
            {
                "coolant_supply_temperature": sign, "mold_core_temperature": sign,
                "mold_cavity_temperature": sign, "coolant_flow": "=", "injection_time": "=",
                "cycle_time": "=",
            }
            for sign in EITHER
        ),
        group=COOLING,
        tempo=("drift",),
        operator=(
            "Read supply temperature and tank level at the chiller.",
            "See whether other presses on the same water show the same.",
        ),
        technician=("Check pump, setting and refrigeration of the unit.",),
        hazards=("guards", "mold_water", "electrical"),
    ),
    Fault(
        row=13,
        name="One mold half at another temperature than the other",
        patterns=tuple(
            {
                half: sign, other: "=", "injection_time": "=", "peak_melt_pressure": "=", "cushion": "=",
                "recovery_time": "=", "cycle_time": "=", "part_weight": "=", "coolant_flow": "=",
            }
            for half, other in (_HALVES, _HALVES[::-1])
            for sign in EITHER
        ),
        group=COOLING,
        tempo=("drift", "step"),
        operator=(
            "Compare the two halves' temperatures, and the flow indicators of both.",
            "Gauge dome on the held discs: it answers to the difference between the halves.",
        ),
        technician=("Check that the hoses of the two halves were not swapped at the last mold change.",),
        hazards=("guards", "mold_water"),
    ),
    Fault(
        row=14,
        name="Cooling timer set shorter or longer",
        patterns=(
            {
                "cooling_time": "-", "cycle_time": "-", "mold_core_temperature": "+?",
                "mold_cavity_temperature": "+?", "injection_time": "=", "peak_melt_pressure": "=",
                "cushion": "=",
            },
            {
                "cooling_time": "+", "cycle_time": "+", "mold_core_temperature": "-?",
                "mold_cavity_temperature": "-?", "injection_time": "=", "peak_melt_pressure": "=",
                "cushion": "=",
            },
        ),
        tempo=("step",),
        happenings=("setpoint cooling_time", "setpoint hold_time"),
        set_by=("cooling_time",),
        operator=("Compare the timer with the recipe sheet.", "Ask who changed it, and when and why."),
        technician=("Decide with quality whether the recipe's value is restored.",),
    ),
    Fault(
        row=15,
        name="Operator-paced safety gate: uneven time with the mold open",
        patterns=(
            {
                "cycle_time": "~", "mold_open_time": "~", "mold_core_temperature": "-?",
                "mold_cavity_temperature": "-?", "peak_melt_pressure": "+?", "injection_time": "=",
            },
        ),
        group=PACE,
        tempo=("spread", "cyclic"),
        operator=(
            "Compare mold-open time by shift on the press page.",
            "Say what keeps the disc from coming out evenly: packing, trimming, a second press.",
        ),
    ),
    Fault(
        row=16,
        name="Return after a stop",
        patterns=(
            {
                "mold_core_temperature": "~", "mold_cavity_temperature": "~", "peak_melt_pressure": "~",
                "cushion": "~", "injection_time": "~", "cycle_time": "~",
            },
        ),
        tempo=("drift",),
        happenings=("stop",),
        operator=(
            "See whether the press stood in the half hour before.",
            "Keep the first discs after the stop apart.",
        ),
        technician=("Decide how many shots count as startup from now on.",),
    ),
    Fault(
        row=20,
        name="Clamp force low, or dirt on the parting line",
        patterns=(
            {
                "part_weight": "+", "cushion": "-", "peak_melt_pressure": "-?", "clamp_force": "-",
                "injection_time": "=", "recovery_time": "=", "cycle_time": "=",
            },
            {
                "part_weight": "+", "cushion": "-", "peak_melt_pressure": "-?", "injection_time": "=",
                "recovery_time": "=", "cycle_time": "=", "mold_core_temperature": "=",
                "mold_cavity_temperature": "=",
            },
        ),
        tempo=("step", "drift"),
        operator=("Look where the discs have flash.", "Compare clamp force with the recipe."),
        technician=("Clean and inspect the mold faces under lockout.",),
        hazards=("guards", "stored_energy", "servicing"),
    ),
    Fault(
        row=23,
        name="Vents blocked",
        patterns=(
            {
                "injection_time": "+", "peak_melt_pressure": "+", "cushion": "+", "part_weight": "-?",
                "recovery_time": "=", "cycle_time": "=", "mold_core_temperature": "=",
                "mold_cavity_temperature": "=",
            },
        ),
        tempo=("drift",),
        operator=("Look for burn marks or short spots at the rim.",),
        technician=("Clean the vents under lockout.",),
        hazards=("guards", "servicing"),
    ),
    Fault(
        row=25,
        name="Day and night: the hall warmed up or cooled down",
        patterns=tuple(
            {
                "ambient_temperature": sign, "mold_core_temperature": slightly,
                "mold_cavity_temperature": slightly, "coolant_supply_temperature": slightly,
                "cycle_time": "=",
            }
            for sign, slightly in zip(EITHER, SLIGHTLY, strict=True)
        ),
        group=COOLING,
        tempo=("cyclic", "drift"),
        operator=("Look for open doors.", "Read the chiller's setting."),
    ),
    Fault(
        row=26,
        name="Robot or stripper late",
        patterns=(
            {
                "cycle_time": "+", "mold_core_temperature": "-", "mold_cavity_temperature": "-",
                "injection_time": "=", "peak_melt_pressure": "=", "cushion": "=", "recovery_time": "=",
                "part_weight": "=",
            },
        ),
        group=PACE,
        tempo=("step", "spread"),
        operator=("Watch one removal with the guards closed.", "Read the air pressure gauge."),
        technician=("Check the part sensor and the air line.",),
        hazards=("guards", "stuck_part", "stored_energy"),
    ),
)
