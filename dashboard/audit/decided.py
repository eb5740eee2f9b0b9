"""What became of each disc that was ever on hold: different discs, however many holds lie over them. Pure.

A disc is scrapped when any of its holds was, since that cannot be undone; else on hold while any of its holds
is open; else what the hold decided last became of it. Of a sorted hold the counts are known, not which disc
went where.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from collector.contract.figures import counted
from dashboard.audit.evidence import Evidence
from dashboard.audit.facts import HoldFact

WORDS = {
    "scrapped": "scrapped", "open": "still on hold", "released": "released",
    "sorted": "on a hold that was sorted",
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Decided:
    """Different discs of the run, counted.

    Attributes
    ----------
    discs : int
        Ever on hold.
    became : mapping of str to int
        Last decision to discs, in the order of `WORDS`; together `discs`.
    overlapping : int
        Discs on more than one hold.
    kept : int
        Discs still on hold of which another hold was released.
    at_odds : int
        Scrapped discs of which another hold was released.
    gauged_after : int
        Scrapped discs with a reading from after that.
    """

    discs: int
    became: Mapping[str, int]
    overlapping: int
    kept: int
    at_odds: int
    gauged_after: int


def span(evidence: Evidence, hold: HoldFact) -> range:
    """Places of the run that a hold covers; empty where both ends lie in other runs."""
    if hold.first is None and hold.last is None:
        return range(0)
    first = 0 if hold.first is None else hold.first
    last = len(evidence.shot_list) - 1 if hold.last is None else hold.last
    return range(first, last + 1)


def decided(evidence: Evidence) -> Decided:
    """Follow each disc through its holds."""
    covering = _covering(evidence)
    last = {place: _last(over) for place, over in covering.items()}
    found = Counter(hold.state for hold in last.values())
    scrapped = {place: hold for place, hold in last.items() if hold.state == "scrapped"}
    return Decided(
        discs=len(covering), became={state: found[state] for state in WORDS if found[state]},
        overlapping=sum(len(over) > 1 for over in covering.values()),
        kept=_released_too(covering, [place for place, hold in last.items() if hold.state == "open"]),
        at_odds=_released_too(covering, scrapped),
        gauged_after=len(_gauged_after(evidence, scrapped)),
    )  # fmt: skip


def sentences(found: Decided) -> Iterator[str]:
    """The same in words; nothing where no disc was on hold."""
    if not found.discs:
        return
    parts = [f"{n:,} {WORDS[state]}" for state, n in found.became.items()]
    yield f"Of {counted(found.discs, 'different disc')} ever on hold: {', '.join(parts)}."
    if found.overlapping:
        yield f"On more than one hold: {counted(found.overlapping, 'disc')}, each counted once."
    if found.kept:
        yield f"Released by one hold, but still on another: {counted(found.kept, 'disc')}."
    if found.at_odds:
        yield (
            f"The holds of {counted(found.at_odds, 'disc')} disagree: released by one, scrapped by another. "
            "Which discs were really scrapped is not in the store."
        )
    if found.gauged_after:
        yield f"Gauged after a hold over them was scrapped: {counted(found.gauged_after, 'disc')}."


def _covering(evidence: Evidence) -> dict[int, list[HoldFact]]:
    covering: dict[int, list[HoldFact]] = {}
    for hold in evidence.holds:
        for place in span(evidence, hold):
            covering.setdefault(place, []).append(hold)
    return dict(sorted(covering.items()))


def _last(over: Sequence[HoldFact]) -> HoldFact:
    scrapped = sorted((h for h in over if h.state == "scrapped"), key=lambda h: (h.closed_at, h.id))
    undecided = [hold for hold in over if hold.closed_at is None]
    if scrapped or undecided:
        return (scrapped or undecided)[0]
    return max(over, key=lambda hold: (hold.closed_at, hold.id))


def _released_too(covering: Mapping[int, Sequence[HoldFact]], places: Iterable[int]) -> int:
    return sum(any(hold.state == "released" for hold in covering[place]) for place in places)


def _gauged_after(evidence: Evidence, scrapped: Mapping[int, HoldFact]) -> set[int]:
    """Scrapped discs that were gauged when the first of their holds had been scrapped."""
    found = set()
    for fact in evidence.gaugings:
        hold = None if fact.place is None else scrapped.get(fact.place)
        if hold is None or hold.closed_at is None or fact.gauged_at is None or fact.place is None:
            continue
        if fact.gauged_at > hold.closed_at:
            found.add(fact.place)
    return found
