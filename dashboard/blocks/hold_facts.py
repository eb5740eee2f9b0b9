"""The words for what is known of the discs of a hold, said before and after a decision about them. Pure."""

from __future__ import annotations

from datetime import datetime, timedelta

from collector.contract import quantities
from dashboard.queries.hold_facts import Known, Readings


def known_words(known: Known, discs: int, now: datetime) -> list[str]:
    """A sentence each: what was gauged, how old the discs are, and which other holds they lie on."""
    said = [_gauged(each, discs) for each in known.readings]
    if not said:
        said = [f"None of its {_discs(discs)} is gauged." if discs != 1 else "Its disc is not gauged."]
    if known.made_at is not None:
        old = _hours(*((now - at) / timedelta(hours=1) for at in reversed(known.made_at)))
        said.append(f"They were made {old} ago.")
    if known.elsewhere:
        said.append(f"On other open holds too: {_elsewhere(known.elsewhere, discs)}.")
    return said


def stay_words(elsewhere: dict[int, int]) -> str:
    """What a decision about one hold leaves on others; empty where nothing is."""
    return "".join(
        f" {_discs(count)} of it {'stays' if count == 1 else 'stay'} on hold {number}."
        for number, count in elsewhere.items()
    )


def _gauged(found: Readings, discs: int) -> str:
    name = quantities.label(found.characteristic)
    parts = [f"{found.discs:,} of {_discs(discs)} gauged"]
    if found.ages_h is not None:
        parts.append(f"{_hours(*found.ages_h)} after molding")
    if found.discs and found.outside is not None:
        parts.append(f"{found.outside or 'none'} out of tolerance")
    elif found.discs:
        parts.append("no tolerance is set")
    if found.early:
        parts.append(f"{found.early:,} too early to count")
    return f"{name}: {', '.join(parts)}."


def _elsewhere(elsewhere: dict[int, int], discs: int) -> str:
    return ", ".join(
        f"{'all of them' if count == discs else _discs(count)} on hold {number}"
        for number, count in elsewhere.items()
    )


def _hours(low: float, high: float) -> str:
    one, other = f"{low:.1f}", f"{high:.1f}"
    return f"{one} h" if one == other else f"{one} to {other} h"


def _discs(count: int) -> str:
    return "1 disc" if count == 1 else f"{count:,} discs"
