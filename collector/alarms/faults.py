"""The fault table: which directions are often seen with which cause, and what to check first. Data only.

One row a fault. Directions are against the baseline: ``+`` higher, ``-`` lower, ``=`` unchanged, ``~`` moved
or scattered either way. A key of zones (`barrel_temperature`) stands for any of its zones. Checks come in
order of ease: what an operator sees, hears and reads first, then what a technician does. The rows are common
practice of the trade, no single source; they are candidates, never a finding.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from collector.alarms.cautions import Hazard

Sign = Literal["+", "-", "=", "~"]
Tempo = Literal["step", "drift", "spread", "cyclic", "single"]
Pattern = Mapping[str, Sign]


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """One row: a cause, the patterns it is often seen with, and the first checks.

    Attributes
    ----------
    name : str
        The cause, as people say it.
    patterns : tuple of Mapping
        Alternatives; the one that fits best counts.
    tempo : tuple of str
        How it usually comes.
    operator, technician : tuple of str
        Checks in order of ease.
    hazards : tuple of str
        Cautions that these checks need.
    """

    name: str
    patterns: tuple[Pattern, ...]
    tempo: tuple[Tempo, ...]
    operator: tuple[str, ...]
    technician: tuple[str, ...] = ()
    hazards: tuple[Hazard, ...] = ("guards",)


FAULTS: tuple[Fault, ...] = (
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
        name="Coolant line blocked or valve closed",
        patterns=(
            {"mold_core_temperature": "+", "coolant_flow": "-", "cycle_time": "="},
            {"mold_cavity_temperature": "+", "coolant_flow": "-", "cycle_time": "="},
            {"mold_core_temperature": "+", "mold_cavity_temperature": "=", "cycle_time": "="},
            {"mold_cavity_temperature": "+", "mold_core_temperature": "=", "cycle_time": "="},
            {"mold_core_temperature": "+", "mold_cavity_temperature": "+", "cycle_time": "="},
        ),
        tempo=("drift",),
        operator=(
            "Read the flow indicators of both mold halves.",
            "See whether a valve was left closed after a mold change.",
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
        name="Operator-paced gate: uneven time with the mold open",
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
        name="Vents blocked",
        patterns=({"injection_time": "+", "peak_melt_pressure": "+", "cushion": "+", "recovery_time": "="},),
        tempo=("drift",),
        operator=("Look for burn marks or short spots at the rim.",),
        technician=("Clean the vents under lockout.",),
        hazards=("guards", "servicing"),
    ),
    Fault(
        name="Uneven regrind, or foreign material",
        patterns=({"injection_time": "~", "peak_melt_pressure": "~", "cushion": "~", "recovery_time": "~"},),
        tempo=("spread",),
        operator=("Compare the blend log with the recipe.", "Look at the pellets: size, color, dust."),
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
    Fault(
        name="New color or masterbatch",
        patterns=({"peak_melt_pressure": "~", "recovery_time": "~", "cushion": "~"},),
        tempo=("step",),
        operator=("Note color and time of the change.", "Read the dosing unit's setting."),
        technician=("If it stays, have a baseline for this color approved.",),
    ),
)
