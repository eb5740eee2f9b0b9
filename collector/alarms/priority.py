"""How much an alarm matters: by what follows when nobody answers it. One table.

The standard asks for priorities by consequence and time to respond, and expects about 80 % low, 15 % medium
and 5 % high (IEC 62682 and ANSI/ISA-18.2, from memory).
"""

from __future__ import annotations

from typing import get_args

from collector.settings_delivery import Priority

# By kind of alarm; a single bad shot apart, since nothing more of it is being made.
PRIORITIES: dict[str, Priority] = {
    "gauging": "high",  # discs are out of tolerance for certain, and their neighbors may be
    "blind": "high",  # broker or store: no press is watched at all
    "process": "medium",  # every further disc goes on hold
    "recipe": "medium",  # discs are made with settings that nobody qualified
    "silence": "medium",  # one press is not watched
    "data": "low",  # one value of one press is not watched
    "single": "low",  # one shot, on hold by itself
}


def priority(kind: str, *, single: bool) -> Priority:
    """Priority of an alarm.

    Parameters
    ----------
    kind : str
        As the alarm's row has it.
    single : bool
        Single bad shots, the process around them stayed where it was.
    """
    return PRIORITIES["single"] if single and kind == "process" else PRIORITIES.get(kind, "medium")


def rose(kind: str, *, was_single: bool, single: bool) -> bool:
    """Whether an alarm matters more than before, so that people are told of it again."""
    order = get_args(Priority)  # lowest first
    before, now = priority(kind, single=was_single), priority(kind, single=single)
    return order.index(now) > order.index(before)
