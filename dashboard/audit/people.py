"""What people did about it: alarms answered, discs held, held discs released. Pure."""

from __future__ import annotations

from collections.abc import Collection, Iterator

from collector.contract.figures import counted
from collector.gauging.age import set_time_h, standing
from dashboard.audit import decided, words
from dashboard.audit.evidence import Evidence
from dashboard.audit.facts import AlarmFact, HoldFact
from dashboard.audit.findings import Findings
from dashboard.audit.statement import Statement
from dashboard.blocks.event_words import length_words


def acted(evidence: Evidence, found: Findings, clock: words.Clock) -> Iterator[Statement]:
    """Statements about the alarms and holds that belong to what was found."""
    undecided = {hold.alarm_id for hold in evidence.holds if hold.state == "open"}
    told = [alarm for alarm in evidence.alarms if _concerns(alarm, found) or alarm.id in undecided]
    for alarm in told:
        yield Statement(_alarm(evidence, alarm), "recorded", "" if alarm.closed_at else "act")
    numbers = {alarm.id for alarm in told}
    for hold in evidence.holds:
        if hold.alarm_id in numbers or hold.state == "open":
            yield Statement(_hold(evidence, hold, clock), "recorded", "act" if hold.state == "open" else "")
    yield from _elsewhere(evidence, numbers)
    for text in decided.sentences(decided.decided(evidence)):
        yield Statement(text, "recorded")
    loose = sorted(set(found.touched) - _held(evidence))
    if loose:
        yield Statement(
            f"Never on hold, though touched: {words.discs_and_trays(evidence, loose)} "
            f"({words.shots(evidence, loose)}).", "recorded", "act",
        )  # fmt: skip


def _elsewhere(evidence: Evidence, told: Collection[int]) -> Iterator[Statement]:
    """Alarms that the conclusion leaves to section 4, and why."""
    others = [str(alarm.id) for alarm in evidence.alarms if alarm.id not in told]
    if others:
        what = f"Alarm {others[0]} is" if len(others) == 1 else f"Alarms {', '.join(others)} are"
        yield Statement(
            f"{what} told in section 4 alone: no hold is open, and no stretch away from its baseline "
            "with signals lies there.", "recorded",
        )  # fmt: skip


def _concerns(alarm: AlarmFact, found: Findings) -> bool:
    if alarm.first is None or alarm.last is None:
        return False
    return any(each.first <= alarm.last and alarm.first <= each.last for each in found.strong)


def _held(evidence: Evidence) -> set[int]:
    return {
        place
        for hold in evidence.holds
        for place in decided.span(evidence, hold)
    }


def _alarm(evidence: Evidence, alarm: AlarmFact) -> str:
    first = "" if alarm.first is None else f" from shot {evidence.shot_list.number(alarm.first)} on"
    seen = (
        "nobody has acknowledged it" if alarm.acknowledged_at is None
        else f"{alarm.acknowledged_by} acknowledged it after "
        f"{length_words(alarm.acknowledged_at - alarm.opened_at)}"
    )  # fmt: skip
    closed = (
        "nobody has closed it" if alarm.closed_at is None
        else f"{alarm.closed_by} closed it, cause given: {alarm.cause or 'none'}"
        + (f" ({alarm.note})" if alarm.note else "")
    )  # fmt: skip
    return f"Alarm {alarm.id}, {_what(alarm)}{first}: {seen}; {closed}.{over_same_shots(evidence, alarm)}"


def _what(alarm: AlarmFact) -> str:
    return "discs out of tolerance" if alarm.kind == "gauging" else "signals"


def over_same_shots(evidence: Evidence, alarm: AlarmFact) -> str:
    """Where a gauging raised the alarm: which alarms of the press lie over its shots, and their causes."""
    if alarm.kind != "gauging" or alarm.first is None or alarm.last is None:
        return ""
    found = [
        f"alarm {other.id}, cause given: {other.cause or 'none'}"
        for other in evidence.alarms
        if other.kind != "gauging" and _reaches(evidence, other, alarm.first, alarm.last)
    ]
    return f" The press had signaled over the same shots: {'; '.join(found)}." if found else ""


def _reaches(evidence: Evidence, alarm: AlarmFact, first: int, last: int) -> bool:
    """Whether its signals or its holds touch any of these places."""
    spans = [decided.span(evidence, hold) for hold in evidence.holds if hold.alarm_id == alarm.id]
    if alarm.first is not None and alarm.last is not None:
        spans.append(range(alarm.first, alarm.last + 1))
    return any(each.start <= last and first < each.stop for each in spans if each)


def _hold(evidence: Evidence, hold: HoldFact, clock: words.Clock) -> str:
    what = f"Hold {hold.id}, {counted(hold.discs, 'disc')}"
    if hold.state == "open" or hold.closed_at is None:
        return f"{what}: still set aside; gauge them, then release, sort or scrap."
    note = f": “{hold.note}”" if hold.note else ""
    ended = f"was {hold.decided} by {hold.closed_by} on {clock.at(hold.closed_at)}{note}"
    return f"{what}, {ended}. {gauged_by_then(evidence, hold)}"


def gauged_by_then(evidence: Evidence, hold: HoldFact) -> str:
    """How many of its discs had a final reading of a characteristic that needs time, when the hold ended."""
    if hold.first is None or hold.last is None or hold.closed_at is None:
        return ""
    inside = [
        fact for fact in evidence.gaugings
        if fact.place is not None and hold.first <= fact.place <= hold.last
        and set_time_h(fact.characteristic) > 0
    ]  # fmt: skip
    if any(fact.gauged_at is None for fact in inside):
        return "When its discs were gauged is not known."
    in_time = {
        fact.place for fact in inside
        if fact.gauged_at is not None and fact.gauged_at <= hold.closed_at
        and standing(fact.characteristic, fact.age_h) == "final"
    }  # fmt: skip
    return f"By then {counted(len(in_time), 'disc')} of it had a final reading of dome or diameter."
