"""The words for discs on hold: what is set aside, what became of it, what happened so far."""

from __future__ import annotations

from collections.abc import Sequence

from collector.alarms.extent_words import extent_words
from collector.store.holds import HoldRow, HoldStep
from dashboard.blocks.alarm_words import Local
from dashboard.queries.holds import Held

_EVENTS = {
    "open": "set aside", "released": "released", "sorted": "sorted", "scrapped": "scrapped",
    "reopened": "set aside again",
}  # fmt: skip


def hold_words(held: Held) -> str:
    """What is set aside, tray by tray, and what became of it."""
    words = f"{extent_words(held.extent, most=None)}{_shots(held)}"
    if held.hold.state == "open":
        growing = ", growing with every shot" if held.hold.to_shot_id is None else ""
        return f"Set aside {words}{growing}."
    hold = held.hold
    decided = _decided(hold, held.extent.discs)
    return f"{words[:1].upper()}{words[1:]}: {decided} by {hold.closed_by}, {hold.note}."


def _shots(held: Held) -> str:
    first, last = held.extent.first_counter, held.extent.last_counter
    if first is None or last is None:
        return ""
    return f" (shot {first:,})" if first == last else f" (shots {first:,} to {last:,})"


def _decided(hold: HoldRow, made: int) -> str:
    """What was decided; with the counts where they are not plainly all of the discs."""
    if hold.good_discs is None or hold.bad_discs is None:
        return hold.state
    missing = made - hold.good_discs - hold.bad_discs
    if hold.state != "sorted" and not missing:
        return hold.state
    counts = ((hold.good_discs, "good"), (hold.bad_discs, "scrapped"), (missing, "not found"))
    return f"{hold.state} ({', '.join(f'{number:,} {word}' for number, word in counts if number)})"


def step_words(step: HoldStep, local: Local) -> str:
    """One step of a hold."""
    what = _EVENTS.get(step.event, step.event)
    return f"{local(step.at):%a %d %b %H:%M}: {what} by {step.who}, {step.reason}."


def was_reopened(steps: Sequence[HoldStep]) -> bool:
    """Whether somebody thought again."""
    return any(step.event == "reopened" for step in steps)
