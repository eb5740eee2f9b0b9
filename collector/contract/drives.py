"""Which setpoint drives which measured value, and by how much the two may part. One row a pair.

Common practice, no source, for the amounts: several times what a sound press moves from shot to shot, so that
only a control that does not hold, or a value that does not follow, is told. Timers are watched by a chart of
their own, and injection time moves with the melt as well, so of those only "did not follow" is asked.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Literal

from collector.contract import quantities

Relation = Literal["same", "inverse"]


@dataclass(frozen=True, slots=True)
class Drive:
    """A setpoint and the value that should follow it.

    Attributes
    ----------
    setpoint, actual : str
        Keys; of a zoned quantity each zone is a pair of its own.
    allowed : float
        By how much the actual may leave its level, canonical unit, ...
    share : float
        ... and by which share of that level besides.
    relation : {'same', 'inverse'}
        Whether the actual rises by what the setpoint rises, or in the inverse ratio.
    alone : bool
        Whether an actual that moves by itself is told.
    """

    setpoint: str
    actual: str
    allowed: float
    share: float = 0.0
    relation: Relation = "same"
    alone: bool = True

    def expected(self, level: float, before: float, after: float) -> float | None:
        """By how much the actual should move from its `level` when the setpoint goes from before to after."""
        if self.relation == "same":
            return after - before
        return None if after == 0 else level * (before / after - 1)

    def tolerance(self, level: float) -> float:
        """By how much the actual may leave this level."""
        return self.allowed + self.share * abs(level)


DRIVES: tuple[Drive, ...] = (
    Drive("hold_pressure", "hold_melt_pressure", 0.5, share=0.05),
    Drive("back_pressure", "back_pressure", 0.5, share=0.15),
    Drive("screw_speed", "screw_speed", 1.0, share=0.05),
    Drive("switchover_position", "switchover_position", 1.0),
    Drive("switchover_volume", "switchover_volume", 2.0),
    Drive("screw_start_position", "screw_start_position", 1.5),
    Drive("barrel_temperature", "barrel_temperature", 5.0),
    Drive("coolant_supply_temperature", "coolant_supply_temperature", 2.0),
    Drive("hold_time", "hold_time", 0.1, alone=False),
    Drive("cooling_time", "cooling_time", 0.1, alone=False),
    Drive("injection_speed", "injection_time", 0.0, share=0.03, relation="inverse", alone=False),
)
_BY_SETPOINT = {drive.setpoint: drive for drive in DRIVES}

# A screw that comes this close to the end of its way has no melt left to hold pressure with; common practice,
# no source. Canonical units.
NO_CUSHION = {"cushion": 0.5, "cushion_volume": 0.5}


@lru_cache(maxsize=1024)
def of_setpoint(key: str) -> Drive | None:
    """The pair of a setpoint; ``barrel_temperature.2`` drives the value of the same zone."""
    base, dot, zone = key.partition(".")
    drive = _BY_SETPOINT.get(base)
    if drive is None or not dot:
        return drive
    if not quantities.is_zone(zone):
        return None
    return replace(drive, setpoint=key, actual=f"{drive.actual}.{zone}")
