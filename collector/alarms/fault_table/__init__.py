"""The fault table: which directions are often seen with which cause, and what to check first. Data only."""

from __future__ import annotations

from collector.alarms.fault_table.data import DATA
from collector.alarms.fault_table.heat import HEAT
from collector.alarms.fault_table.material import MATERIAL_FAULTS
from collector.alarms.fault_table.melt import MELT
from collector.alarms.fault_table.mold import MOLD
from collector.alarms.fault_table.press import PRESS
from collector.alarms.fault_table.row import Fault, Pattern, Sign, Tempo

__all__ = ["DATA", "FAULTS", "Fault", "Pattern", "Sign", "Tempo", "like"]

FAULTS: tuple[Fault, ...] = (*MATERIAL_FAULTS, *MELT, *HEAT, *MOLD, *PRESS)


def like(fault: Fault) -> tuple[str, ...]:
    """Names of the other faults of its group, which telemetry does not tell it from."""
    if fault.group is None:
        return ()
    return tuple(other.name for other in FAULTS if other.group == fault.group and other.row != fault.row)
