"""What this audit cannot say, and why. Pure."""

from __future__ import annotations

from collections.abc import Iterator

from collector.contract import quantities
from collector.contract.figures import counted, percent
from collector.gauging.age import set_time_h
from dashboard.audit import compare, words
from dashboard.audit.evidence import Evidence
from dashboard.audit.findings import Findings


def listed(evidence: Evidence, found: Findings) -> Iterator[str]:
    """Each reason as one sentence, those about the shots first."""
    yield from _shots(evidence)
    yield from _limits(evidence)
    yield from _gaugings(evidence, found)
    yield from _comparison(evidence)
    yield "Which discs the buyer holds, unless they came back and were gauged, is not in the store."
    if any(alarm.cause for alarm in evidence.alarms):
        yield (
            "Whether a cause that was given is the true one: charts show what went together, "
            "not what made what."
        )


def _shots(evidence: Evidence) -> Iterator[str]:
    shots = evidence.shots
    if shots.time_reconstructed:
        yield (
            f"When shots were made: the times of {shots.time_reconstructed:,} of {shots.total:,} shots are "
            "reconstructed, not read. They keep the order only; no time of a shot, no age of a disc and no "
            "delay can be given."
        )
    if shots.without_tray:
        yield f"Where {counted(shots.without_tray, 'disc')} went: no tray is known for them."
    if shots.without_counter:
        yield f"The counter of {counted(shots.without_counter, 'shot')}: here they go by order."
    gaps = [event for event in evidence.events if event.kind == "gap"]
    if gaps:
        yield (
            f"What happened at {counted(len(gaps), 'gap')} of the counter, where shots never arrived; "
            "they are among the events."
        )
    for key, n in shots.not_written.items():
        label = quantities.label(key)
        yield (
            f"{label} of {n:,} of {shots.total:,} shots ({percent(n / shots.total)}): the press had "
            "not written the field, so its zero is no value."
        )
    if evidence.refused:
        yield (
            f"What {counted(evidence.refused, 'message')} said that could not be read while this run "
            "arrived; they are kept as refused."
        )


def _limits(evidence: Evidence) -> Iterator[str]:
    provisional = sorted({each.key for each in evidence.in_force if each.standing == "provisional"})
    if provisional:
        names = ", ".join(quantities.label(key).lower() for key in provisional)
        yield (
            f"How often the provisional limits signal falsely: those of {names} rest on an effective size "
            "below 100 shots."
        )
    if not evidence.run.recipe or not evidence.run.setpoints:
        yield "Whether the settings were right: no qualified recipe is stored for this run."


def _gaugings(evidence: Evidence, found: Findings) -> Iterator[str]:
    if not evidence.gaugings:
        yield "Whether the discs differ: none of this run has been gauged."
    elif not any(each.characteristic == "dome" for each in found.gauged):
        yield "Dome: no disc of this run has a dome reading."
    if evidence.unjoined:
        yield f"{counted(evidence.unjoined, 'gauging')} of this run found no disc and count nowhere."
    for each in found.gauged:
        name = quantities.label(each.characteristic)
        if each.final and each.provisional:
            yield (
                f"{name} of discs gauged too early: {counted(each.provisional, 'reading')} from before "
                f"{set_time_h(each.characteristic):.0f} h left out of every mean and comparison, since such "
                "discs go on changing."
            )
        if each.unknown:
            yield (
                f"{name} at its set time: the ages of {counted(each.unknown, 'reading')} are unknown, "
                "so flagged and unflagged discs are not compared by them."
            )
        for compared in each.compared:
            if compared.difference.interval is None:
                reasons = "; ".join(compared.difference.reasons)
                yield f"{name} of {words.GROUPS[compared.group]} against others: {reasons}."
    no_tolerance = [each for each in found.gauged if each.tolerance is None]
    if no_tolerance:
        names = ", ".join(quantities.label(each.characteristic).lower() for each in no_tolerance)
        yield f"How many discs are good: no tolerance is set for {names} of this mold."
    if found.gauged:
        yield "What part the gauges have in the spread of the discs: no gauge study is stored."


def _comparison(evidence: Evidence) -> Iterator[str]:
    usable = compare.usable(evidence.others)
    if len(usable) < compare.FEWEST_RUNS:
        yield (
            f"Whether the run as a whole is unusual: {counted(len(usable), 'other run')} of this press "
            f"and context can be compared, {compare.FEWEST_RUNS} are needed."
        )
    else:
        yield (
            "Whether a buyer complained about the runs it is compared with: complaints are not stored, so "
            "runs with a scrapped hold are left out, and those that were named."
        )
