"""The fault table: which directions are often seen with which cause, and what to check first. Data only."""

from __future__ import annotations

from collector.alarms.fault_table.melt import MELT
from collector.alarms.fault_table.mold import MOLD
from collector.alarms.fault_table.press import PRESS
from collector.alarms.fault_table.row import Fault, Pattern, Sign, Tempo

__all__ = ["FAULTS", "Fault", "Pattern", "Sign", "Tempo"]

FAULTS: tuple[Fault, ...] = (*MELT, *MOLD, *PRESS)
