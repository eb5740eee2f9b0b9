"""A row of the fault table, and how to read it.

Directions are against the baseline: ``+`` higher, ``-`` lower, ``=`` unchanged, ``~`` moved
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
