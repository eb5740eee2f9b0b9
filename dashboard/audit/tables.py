"""The tables of the document, cell by cell in words. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from collector.alarms.extent_words import tray_words
from collector.contract import quantities
from dashboard.audit import words
from dashboard.audit.audit import Audit
from dashboard.audit.evidence import Evidence
from dashboard.audit.facts import HoldFact, InForce, ShotFacts
from dashboard.audit.words import NONE
from dashboard.blocks.event_words import change_words, kind_words


@dataclass(frozen=True, slots=True)
class Table:
    """Head and rows of text; `empty` is said where there is no row, columns in `numbers` are flush right."""

    head: tuple[str, ...]
    rows: Sequence[tuple[str, ...]]
    empty: str
    numbers: tuple[int, ...] = ()


def made(audit: Audit) -> Table:
    """What was made: one row a fact."""
    run, shots = audit.evidence.run, audit.evidence.shots
    recipe = NONE if run.recipe is None else f"{run.recipe}, version {run.recipe_version}"
    if run.qualified_by:
        recipe += f", qualified by {run.qualified_by} on {audit.clock.at(run.qualified_at)}"
    lots = [run.lot or NONE, *(str(event.new) for event in audit.evidence.events if event.kind == "lot")]
    opened, closed = audit.clock.at(run.opened_at), audit.clock.at(run.closed_at)
    if shots.time_reconstructed:
        opened, closed = "not known, times are reconstructed", "not known, times are reconstructed"
    rows = [
        ("Press", f"{run.press}, site {run.site}"), ("Mold", run.mold or NONE), ("Blend", run.blend or NONE),
        ("Lot", ", then ".join(lots)), ("Color", run.color or NONE), ("Recipe", recipe),
        ("Opened", opened), ("Closed", closed if run.closed_at else "still open"),
        ("Shots", f"{shots.total:,}: {shots.first} to {shots.last}"),
        ("Of these", _phases(shots)),
        ("Trays", f"{len(shots.trays)}: {tray_words(shots.trays)}" if shots.trays else "not known"),
        ("Source", ", ".join(shots.sources)),
    ]  # fmt: skip
    return Table(("", ""), rows, "")


def _phases(shots: ShotFacts) -> str:
    trial = shots.total - shots.startup - shots.baseline - shots.charted
    return (
        f"{shots.startup:,} startup, {shots.baseline:,} baseline, {shots.charted:,} charted, "
        f"{shots.signaled:,} with a signal"
    ) + (f", {trial:,} of a trial and so not charted" if trial else "")


def setpoints(evidence: Evidence) -> Table:
    """The recipe's setpoints with what they may deviate."""
    rows = [
        (quantities.label(key), quantities.format_value(key, each["setpoint"]),
         f"± {quantities.format_value(key, each['allowed'])}")
        for key, each in sorted(evidence.run.setpoints.items())
    ]  # fmt: skip
    return Table(
        ("Setpoint", "Recipe", "Allowed deviation"), rows,
        "No qualified recipe is stored for this run.", (1, 2),
    )  # fmt: skip


def changes(audit: Audit) -> Table:
    """What changed during the run."""
    evidence = audit.evidence
    rows = []
    for each in evidence.events:
        shot = NONE if each.place is None else evidence.shot_list.number(each.place)
        when = NONE if evidence.shots.time_reconstructed else audit.clock.at(each.at)
        rows.append((shot, when, kind_words(each.kind), change_words(each) or NONE, each.source))
    return Table(
        ("From shot", "Time", "What", "Change", "Told by"), rows,
        "No change is recorded during the run.", (0,),
    )  # fmt: skip


def limits(audit: Audit) -> Table:
    """Baselines and limits in force."""
    evidence = audit.evidence
    rows = []
    for each in evidence.in_force:
        timer = each.key in evidence.timers
        rows.append((
            quantities.label(each.key), evidence.shot_list.span(each.first, each.last),
            f"version {each.version}, {'watched for change' if timer else each.standing}",
            _baseline(evidence, each, timer=timer), "as set" if timer else _size(each),
            "any change" if timer else _lines(evidence, each), _approved(audit, each),
        ))  # fmt: skip
    return Table(
        ("Characteristic", "Judged", "Version", "Baseline", "Rests on", "Limits, single shot", "Approved"),
        rows, "No shot of this run was judged by limits.",
    )  # fmt: skip


def _baseline(evidence: Evidence, each: InForce, *, timer: bool) -> str:
    center = words.value(evidence, each.key, each.baseline["center"])
    return center if timer else f"{center}, sigma {words.value(evidence, each.key, each.baseline['sigma'])}"


def _lines(evidence: Evidence, each: InForce) -> str:
    if each.lines is None:
        return NONE
    lower, upper = (words.value(evidence, each.key, line) for line in (each.lines[0], each.lines[2]))
    return f"{lower} to {upper}"


def _size(each: InForce) -> str:
    n = each.baseline["n"]
    if n == 0:
        return "given"
    phi = each.baseline["phi"]
    return f"{n:,} shots" + (f", worth {each.effective_n:.0f} (phi {phi:.2f})" if phi else "")


def _approved(audit: Audit, each: InForce) -> str:
    newer = "; a newer version exists today and is not used here" if each.superseded else ""
    if each.approved_by is None:
        return f"nobody: made by the service, {each.reason or 'no reason given'}{newer}"
    reason = f": {each.reason}" if each.reason else ""
    return f"{each.approved_by}, {audit.clock.at(each.made_at)}{reason}{newer}"


def signals(audit: Audit) -> Table:
    """Every signal, counted by alarm, characteristic and rule."""
    evidence = audit.evidence
    rows = [
        (
            NONE if each.alarm_id is None else str(each.alarm_id), quantities.label(each.key),
            f"{words.CHARTS.get(each.chart or '', each.chart or each.kind)}, {words.rule(each)}",
            words.SIDES[each.direction], f"{each.count:,}", evidence.shot_list.number(each.first),
            evidence.shot_list.number(each.last),
            # How far a timer is off in digits of its display says nothing.
            NONE if each.largest_share is None or each.chart == "setting" else f"{each.largest_share:.2f}",
        )
        for each in evidence.signals
    ]  # fmt: skip
    return Table(
        ("Alarm", "Characteristic", "Chart and rule", "Side", "Signals", "First shot", "Last shot",
         "Largest share of limit"), rows, "No shot of this run signaled.", (4, 5, 6, 7),
    )  # fmt: skip


def holds(audit: Audit) -> Table:
    """Every hold and its outcome."""
    evidence = audit.evidence
    rows = [
        (
            str(each.id), NONE if each.alarm_id is None else str(each.alarm_id), _held_shots(evidence, each),
            f"{each.discs:,}", tray_words(each.trays, most=None) or "no tray known",
            f"{each.opened_by}, {audit.clock.at(each.opened_at)}", _outcome(audit, each),
        )
        for each in evidence.holds
    ]  # fmt: skip
    return Table(
        ("Hold", "Alarm", "Shots", "Discs", "Trays", "Opened", "Outcome"), rows,
        "No disc was put on hold.", (3,),
    )  # fmt: skip


def _held_shots(evidence: Evidence, each: HoldFact) -> str:
    if each.first is None or each.last is None:
        return "reaches into another run"
    return evidence.shot_list.span(each.first, each.last)


def _outcome(audit: Audit, each: HoldFact) -> str:
    if each.closed_at is None:
        return "still open"
    note = f": {each.note}" if each.note else ""
    return f"{each.decided} by {each.closed_by}, {audit.clock.at(each.closed_at)}{note}"


def shifts(audit: Audit) -> Table:
    """Every change point with the levels on both sides."""
    evidence = audit.evidence
    rows = [
        (
            quantities.label(found.key), evidence.shot_list.number(each.place),
            f"{evidence.shot_list.number(each.low)} to {evidence.shot_list.number(each.high)}",
            words.shot_time(evidence, each.place, audit.clock) or NONE,
            words.value(evidence, found.key, each.before), words.value(evidence, found.key, each.after),
        )
        for found in audit.found.histories
        for each in found.shifts
    ]  # fmt: skip
    return Table(
        ("Characteristic", "First shot of the new level", "Confidence set (90 %)", "Time", "Level before",
         "Level after"), rows, "No characteristic shifted for longer than chance explains.", (1, 4, 5),
    )  # fmt: skip


def touched(audit: Audit) -> Table:
    """What each stretch away from its baseline touched."""
    evidence = audit.evidence
    rows = []
    for each in (*audit.found.strong, *audit.found.quiet):
        places = range(each.first, each.last + 1)
        rows.append((
            words.moved(evidence, each), evidence.shot_list.span(each.first, each.last),
            f"{len(places):,}", tray_words(evidence.shot_list.trays(places)) or "no tray known",
            f"{each.sigmas:+.1f}", f"{each.signaled:,}",
        ))  # fmt: skip
    return Table(
        ("Against its baseline", "Shots", "Discs", "Trays", "In sigma", "Signaling shots"), rows,
        "No stretch of the run lies away from its baseline.", (2, 4, 5),
    )  # fmt: skip
