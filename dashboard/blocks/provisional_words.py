"""What limits that nobody has approved cost in false alarms. Pure."""

from __future__ import annotations

from collections.abc import Sequence

from collector.contract import quantities
from collector.contract.figures import significant
from collector.plan import PROVISIONAL_FACTOR

SPEND = f"limits from few shots may bring {PROVISIONAL_FACTOR:g} times the false alarms that are allowed"


def rests_words(keys: Sequence[str], budget_per_day: float) -> str:
    """Of an alarm: which of its limits are provisional, and what that means."""
    names = ", ".join(quantities.label(key) for key in keys)
    most = significant(PROVISIONAL_FACTOR * budget_per_day, 2)
    return (
        f"Under provisional limits: {names}. Nobody has approved them, and {SPEND}, here {most} a day. "
        "A study on the Limits page makes better ones."
    )


def cost_words() -> str:
    """Beside the false alarms of charts of which some are provisional."""
    return f"Some are provisional: {SPEND}, until a person has approved better ones."
