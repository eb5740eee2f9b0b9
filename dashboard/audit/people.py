"""What people did about it: alarms answered, discs held, held discs released. Pure."""

from __future__ import annotations

from collections.abc import Iterator

from collector.contract.figures import counted
from collector.gauging.age import set_time_h, standing
from dashboard.audit import words
from dashboard.audit.evidence import Evidence
from dashboard.audit.facts import AlarmFact, HoldFact
from dashboard.audit.findings import Findings
from dashboard.audit.statement import Statement
from dashboard.blocks.event_words import length_words


def acted(evidence: Evidence, found: Findings, clock: words.Clock) -> Iterator[Statement]:
    """Statements about the alarms and holds that belong to what was found."""
    concerned = [alarm for alarm in evidence.alarms if _concerns(alarm, found)]
    for alarm in concerned:
        yield Statement(_alarm(evidence, alarm), "recorded", "" if alarm.closed_at else "act")
    numbers = {alarm.id for alarm in concerned}
    for hold in evidence.holds:
        if hold.alarm_id in numbers:
            yield Statement(_hold(evidence, hold, clock), "recorded", "act" if hold.state == "open" else "")
    loose = sorted(set(found.touched) - _held(evidence))
    if loose:
        yield Statement(
            f"Never on hold, though touched: {words.discs_and_trays(evidence, loose)} "
            f"({words.shots(evidence, loose)}).", "recorded", "act",
        )  # fmt: skip


def _concerns(alarm: AlarmFact, found: Findings) -> bool:
    if alarm.first is None or alarm.last is None:
        return False
    return any(each.first <= alarm.last and alarm.first <= each.last for each in found.strong)


def _held(evidence: Evidence) -> set[int]:
    return {
        place
        for hold in evidence.holds
        if hold.first is not None and hold.last is not None
        for place in range(hold.first, hold.last + 1)
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
    return f"Alarm {alarm.id}, signals{first}: {seen}; {closed}."


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
