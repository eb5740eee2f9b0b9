"""Sensor, plug, unit and gateway: what to look at when values are in doubt, by what was seen.

Forms of one row of the trade's table. The data are looked at before the process (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Mapping

from collector.alarms.fault_table.row import Fault

ROW = 27
_SCREEN = "Compare the value here with the screen of the press."

DATA: Mapping[str, Fault] = {
    "stuck": Fault(
        row=ROW,
        name="The reading stands still: sensor, plug or gateway",
        patterns=(),
        tempo=("step",),
        operator=(
            _SCREEN,
            "See whether the press's own screen shows the same number shot after shot.",
        ),
        technician=("Check plug and cable of the sensor, and whether the gateway repeats an old value.",),
        hazards=("guards", "electrical"),
    ),
    "zero": Fault(
        row=ROW,
        name="The reading is cut off: plug, cable or sensor",
        patterns=(),
        tempo=("step",),
        operator=(
            _SCREEN,
            "A flow or a pressure: see from outside whether it is really gone; then it is the press.",
        ),
        technician=("Check plug, cable and supply of the sensor.",),
        hazards=("guards", "electrical"),
    ),
    "unit_jump": Fault(
        row=ROW,
        name="The gateway sends another unit or scale than before",
        patterns=(),
        tempo=("step",),
        operator=(_SCREEN, "Note when it began, and what was changed at the gateway at that time."),
        technician=("Mend the unit in the mapping, or at the gateway.",),
    ),
    "implausible": Fault(
        row=ROW,
        name="A value that this quantity cannot have: sensor, unit or mapping",
        patterns=(),
        tempo=("step", "single"),
        operator=(_SCREEN,),
        technician=("Check sensor and cable, and the unit in the mapping.",),
        hazards=("guards", "electrical"),
    ),
    "coarse": Fault(
        row=ROW,
        name="The gateway rounds more than before",
        patterns=(),
        tempo=("step",),
        operator=(_SCREEN, "Note when it began, and what was changed at the gateway at that time."),
        technician=("Restore the number of digits at the gateway.",),
    ),
}
