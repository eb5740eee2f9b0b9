"""A row of the fault table, and how to read it.

Directions are against the baseline: ``+`` higher, ``-`` lower, ``+?`` and ``-?`` slightly so, which may not
show, ``=`` unchanged, ``~`` moved or scattered either way. A key of zones (`barrel_temperature`) stands for
any of its zones. Checks come in order of ease: what an operator sees, hears and reads first, then what a
technician does. The rows are common practice of the trade, no single source; they are candidates, never a
finding.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from collector.alarms.cautions import Hazard

Sign = Literal["+", "-", "+?", "-?", "=", "~"]
Tempo = Literal["step", "drift", "spread", "cyclic", "single"]
Pattern = Mapping[str, Sign]

EITHER: tuple[Sign, Sign] = ("+", "-")
SLIGHTLY: tuple[Sign, Sign] = ("+?", "-?")


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """One row: a cause, the patterns it is often seen with, and the first checks.

    Attributes
    ----------
    row : int
        Its number, 1 to 28.
    name : str
        The cause, as people say it.
    patterns : tuple of Mapping
        Alternatives; the one that fits best counts.
    tempo : tuple of str
        How it usually comes.
    happenings : tuple of str
        What on the time axis speaks for it when it comes shortly before: an event's kind, or "setpoint KEY".
    set_by : tuple of str
        Setpoints whose change it is; where the press reports one that stayed as it was, that speaks against.
    group : str or None
        What it has in common with the faults that telemetry does not tell it from, see `groups`.
    operator, technician : tuple of str
        Checks in order of ease.
    hazards : tuple of str
        Cautions that these checks need.
    """

    row: int
    name: str
    patterns: tuple[Pattern, ...]
    tempo: tuple[Tempo, ...]
    operator: tuple[str, ...]
    technician: tuple[str, ...] = ()
    hazards: tuple[Hazard, ...] = ("guards",)
    happenings: tuple[str, ...] = ()
    set_by: tuple[str, ...] = ()
    group: str | None = None
