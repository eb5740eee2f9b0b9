"""The conclusion in plain words: what happened, how certain that is, and what is not known. Pure.

Certainty of a statement: *recorded* repeats what the store holds; *clear* rests on a test within this run;
*likely* rests on limits from few shots or on one kind of evidence; *weak* could well be chance.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from collector.contract import quantities
from collector.contract.figures import counted
from dashboard.audit import people, unknowns, words
from dashboard.audit.evidence import Evidence
from dashboard.audit.facts import EventFact
from dashboard.audit.findings import Findings
from dashboard.audit.gauged import Compared, Gauged
from dashboard.audit.shifts import Excursion
from dashboard.audit.statement import Certainty, Statement
from dashboard.blocks.event_words import change_words, kind_words

MOST_NAMED = 4
NEAR_SHOTS = 5
ENOUGH_SHOTS = 100  # effective size from which limits are usable
CHANGES = ("setpoint", "lot", "stop", "epoch", "gap")

Answer = Literal["clear", "likely", "weak", "none"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Conclusion:
    """The answer in one sentence, what it rests on, and what nobody can say."""

    headline: str
    certainty: Answer
    statements: tuple[Statement, ...]
    not_known: tuple[str, ...]


def conclude(evidence: Evidence, found: Findings, clock: words.Clock) -> Conclusion:
    """Put the findings into sentences."""
    headline, certainty = _answer(evidence, found)
    statements = (
        *_integrity(evidence), *_process(evidence, found), *_discs(found),
        *people.acted(evidence, found, clock), *_compared(found),
    )  # fmt: skip
    return Conclusion(
        headline=headline, certainty=certainty, statements=statements,
        not_known=tuple(unknowns.listed(evidence, found)),
    )  # fmt: skip


def _answer(evidence: Evidence, found: Findings) -> tuple[str, Answer]:
    differ = " and ".join(_size(each) for each in found.gauged if disc_certainty(each) == "clear")
    if found.strong:
        older = next((text for each in found.gauged if (text := _older(each))), "")
        shift = _short(evidence, found.strong[0])
        if differ:
            apart = f"The discs of this run are not alike: {shift}."
            return f"{apart} Their {differ} than that of the others.{older}", "clear"
        open_question = "The gaugings do not clearly show whether the discs differ."
        return f"The process shifted during this run: {shift}. {open_question}{older}", "likely"
    if differ:
        return f"Of flagged discs the {differ}, though no charted characteristic shifted for long.", "weak"
    return _nothing_found(evidence, found)


def _size(each: Gauged) -> str:
    """``dome is 0.53 mm higher``; only where a comparison has an interval."""
    interval = each.compared[0].difference.interval
    assert interval is not None
    size = quantities.format_value(each.characteristic, abs(interval.estimate), each.unit)
    more = "higher" if interval.estimate > 0 else "lower"
    return f"{quantities.label(each.characteristic).lower()} is {size} {more}"


def _older(each: Gauged) -> str:
    """A difference that would be clear, had the discs been gauged at the same age."""
    first = next(iter(each.compared), None)
    if first is None or first.age_gap_h is None or first.difference.certainty != "clear":
        return ""
    later = "later" if first.age_gap_h > 0 else "earlier"
    return f" Their {_size(each)}, but they were gauged {abs(first.age_gap_h):.0f} h {later}."


def _nothing_found(evidence: Evidence, found: Findings) -> tuple[str, Answer]:
    if not evidence.in_force:
        return "Nothing can be concluded: no shot of this run was judged by limits.", "none"
    if found.quiet:
        quiet = _short(evidence, found.quiet[0])
        return f"No shift signaled for long, but one stretch lies away from its baseline: {quiet}.", "weak"
    trusted = [each for each in evidence.in_force if each.effective_n >= ENOUGH_SHOTS]
    if evidence.shots.charted < ENOUGH_SHOTS or not trusted:
        return (
            "No lasting shift with a signal was found, but few shots, or limits from few shots, can hide one."
        ), "weak"
    return "No lasting shift with a signal was found in the characteristics that were charted.", "likely"


def _short(evidence: Evidence, each: Excursion) -> str:
    what = words.moved(evidence, each)
    span = evidence.shot_list.span(each.first, each.last)
    return f"{what[:1].lower()}{what[1:]} at {span} ({counted(each.last - each.first + 1, 'disc')})"


def _integrity(evidence: Evidence) -> Iterator[Statement]:
    if evidence.shots.broken:
        shown = ", ".join(evidence.shots.broken[:8])
        more = f" and {len(evidence.shots.broken) - 8} more" if len(evidence.shots.broken) > 8 else ""
        n = counted(len(evidence.shots.broken), "stored shot")
        yield Statement(
            f"{n} no longer match the digest made when they were stored: shot {shown}{more}. "
            "Whatever is said here about them cannot be relied on.", "recorded", "signal",
        )  # fmt: skip
    if evidence.journal_breaks:
        n = counted(len(evidence.journal_breaks), "place")
        yield Statement(f"The journal was altered: its chain breaks at {n}.", "recorded", "signal")


def _process(evidence: Evidence, found: Findings) -> Iterator[Statement]:
    for each in found.strong[:MOST_NAMED]:
        yield Statement(_excursion(evidence, each), _excursion_certainty(evidence, each), "signal")
    if len(found.strong) > MOST_NAMED:
        n = counted(len(found.strong) - MOST_NAMED, "more stretch", "more stretches")
        yield Statement(f"Listed under change points: {n} with signals.", "recorded")
    if found.touched:
        told = words.discs_and_trays(evidence, found.touched)
        yield Statement(
            f"Together that touched {told}: {words.shots(evidence, found.touched)}.", "likely", "act"
        )
    if found.quiet:
        names = sorted({quantities.label(each.key).lower() for each in found.quiet})
        n = counted(len(found.quiet), "further stretch", "further stretches")
        lie = "lies" if len(found.quiet) == 1 else "lie"
        yield Statement(f"{n} of {', '.join(names)} {lie} away from the baseline without a signal.", "weak")


def _excursion(evidence: Evidence, each: Excursion) -> str:
    shot_list = evidence.shot_list
    between = (
        "" if each.low == each.high
        else f" (its first shot lies between {shot_list.number(each.low)} and {shot_list.number(each.high)})"
    )  # fmt: skip
    steps = f", in {each.steps} steps one way, as a drift does" if each.drift else ""
    return (
        f"{words.moved(evidence, each)}, against its baseline, at {shot_list.span(each.first, each.last)}"
        f"{between}{steps}; {counted(each.signaled, 'shot')} of it signaled. {_before(evidence, each)}"
    )


def _before(evidence: Evidence, each: Excursion) -> str:
    near = [
        event for event in evidence.events
        if event.kind in CHANGES and event.place is not None
        and each.low - NEAR_SHOTS <= event.place <= each.high
    ]  # fmt: skip
    if not near:
        return f"No change of setpoint or lot and no stop is recorded in the {NEAR_SHOTS} shots before."
    return f"Recorded just before: {'; '.join(_named(evidence, event) for event in near)}."


def _named(evidence: Evidence, event: EventFact) -> str:
    assert event.place is not None  # only placed events are near a shift
    lead = "" if event.kind == "stop" else f"{kind_words(event.kind).lower()}, "
    return f"{lead}{change_words(event)}, at shot {evidence.shot_list.number(event.place)}"


def _excursion_certainty(evidence: Evidence, each: Excursion) -> Certainty:
    rests_on = [limits for limits in evidence.in_force if limits.key == each.key]
    provisional = any(limits.standing == "provisional" for limits in rests_on)
    return "likely" if provisional else "clear"


def disc_certainty(each: Gauged) -> Answer:
    """How certain discs differ, by the first comparison: what was touched, else what was flagged."""
    return _certainty(each.compared[0]) if each.compared else "none"


def _certainty(found: Compared) -> Answer:
    """Discs gauged at other ages may differ by that alone."""
    if found.difference.certainty == "clear" and found.age_gap_h is not None:
        return "weak"
    return found.difference.certainty


def _discs(found: Findings) -> Iterator[Statement]:
    alike = []
    for each in found.gauged:
        first = next(iter(each.compared), None)
        if first is None or first.difference.interval is None:
            continue
        if not first.difference.interval.excludes_zero:
            alike.append(quantities.label(each.characteristic).lower())
            continue
        text = words.difference(each.characteristic, each.unit, first)
        yield Statement(f"{text}.", "clear" if _certainty(first) == "clear" else "weak")
    if alike:
        yield Statement(f"No certain difference between the discs in {', '.join(alike)}.", "weak")
    for each in found.gauged:
        if each.outside:
            name = quantities.label(each.characteristic).lower()
            yield Statement(
                f"{each.outside} of {counted(each.discs, 'gauged disc')} lie outside the tolerance of "
                f"{name}.", "recorded", "act",
            )  # fmt: skip


def _compared(found: Findings) -> Iterator[Statement]:
    judged = [each for each in found.against if each.unusual_level is not None]
    if not judged:
        return
    levels = [quantities.label(each.key).lower() for each in judged if each.unusual_level]
    spreads = [quantities.label(each.key).lower() for each in judged if each.unusual_spread]
    runs = max(each.runs for each in judged)
    if not levels and not spreads:
        yield Statement(f"As a whole the run has level and spread of the {runs} runs beside it.", "likely")
        return
    if levels:
        yield Statement(f"Unusual level, against {runs} runs beside it: {', '.join(levels)}.", "likely")
    if spreads:
        yield Statement(f"Unusual spread, against {runs} runs beside it: {', '.join(spreads)}.", "likely")
