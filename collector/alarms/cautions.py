"""What every proposed check must carry, so that nobody is hurt by following it.

References
----------
29 CFR 1910.147 (control of hazardous energy) and ISO 14118 (prevention of unexpected start-up) for
lockout; ISO 20430 and ANSI/PLASTICS B151.1 for the guards of injection molding machines (from memory).
"""

from __future__ import annotations

from typing import Literal

Hazard = Literal[
    "servicing",
    "guards",
    "stored_energy",
    "hot_melt",
    "overheating",
    "stuck_part",
    "electrical",
    "mold_water",
]

GENERAL = (
    "This is guidance only: the machine's manual, the shop's written procedures and local codes come first, "
    "and only trained and authorized people do the work. When in doubt, stop and call the technician."
)

CAUTIONS: dict[Hazard, str] = {
    "servicing": (
        "Anything beyond an operator's normal task needs lockout and tagout of every energy source first, "
        "by people authorized to do it."
    ),
    "guards": (
        "Look with the guards closed. Never reach over, under, around or through a guard, and never defeat "
        "an interlock."
    ),
    "stored_energy": (
        "Pressure, springs and raised platens keep their energy when the press is off: a qualified person "
        "releases it and proves that it is gone. A leaking hose can inject oil through skin."
    ),
    "hot_melt": (
        "Melt can spit without warning: keep clear of the nozzle, purge guard closed, face and hands "
        "covered. Nobody stands at the mold during a purge."
    ),
    "overheating": (
        "Overheated material gives off harmful gas and can burst out of the barrel: ventilate, keep away "
        "from the nozzle, and leave every temperature setting to the technician."
    ),
    "stuck_part": (
        "A stuck disc comes out only with the press stopped as the procedure says, with soft brass tools, "
        "and never with the drive running."
    ),
    "electrical": (
        "Heater bands and their wiring are live and hot: only a qualified electrical person opens them."
    ),
    "mold_water": (
        "Lines to the mold carry hot fluid under pressure: a technician relieves them before loosening any."
    ),
}


def words(hazards: tuple[Hazard, ...]) -> tuple[str, ...]:
    """The cautions for some hazards, always ending with the general one."""
    return (*(CAUTIONS[hazard] for hazard in hazards), GENERAL)
