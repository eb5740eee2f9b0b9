"""How an audit says things: times in the shop's zone, values with units, shots, rules. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from collector.alarms.extent_words import tray_words
from collector.alarms.headline import amount, what_moved
from collector.alarms.model import Moved
from collector.contract import quantities
from collector.contract.figures import counted, percent
from dashboard.audit.evidence import Evidence
from dashboard.audit.facts import SignalGroup
from dashboard.audit.gauged import ALIKE_AGES_H, Compared
from dashboard.audit.shifts import Excursion
from dashboard.audit.shot_list import stretches
from dashboard.blocks.press_words import rule_words
from rules import run_rules

NONE = "\N{EN DASH}"
MOST_STRETCHES = 6
CHARTS = {
    "individuals": "single shots", "moving_range": "moving range", "cusum": "cumulative sum",
    "ewma": "weighted average", "setting": "changed or not", "residual": "what is new in a shot",
    "spread": "scatter from shot to shot", "engineering_limits": "engineering limits",
    "c": "count", "np": "count of a sample",
}  # fmt: skip
SIDES = {1: "above", -1: "below", 0: ""}
GROUPS = {"touched": "discs of the touched shots", "flagged": "discs of flagged shots"}


@dataclass(frozen=True, slots=True)
class Clock:
    """Writes times in the shop's zone."""

    zone: ZoneInfo

    def at(self, moment: datetime | None) -> str:
        """Day and minute; a dash when not known."""
        return NONE if moment is None else f"{moment.astimezone(self.zone):%Y-%m-%d %H:%M}"


def shot_time(evidence: Evidence, place: int, clock: Clock) -> str:
    """When a shot ended, empty when that time was only computed."""
    if evidence.shots.time_reconstructed:
        return ""
    return clock.at(evidence.shot_list.frame["ended_at"].iloc[place].to_pydatetime())


def value(evidence: Evidence, key: str, number: float) -> str:
    """A value with its unit."""
    return quantities.format_value(key, number, evidence.units.get(key))


def moved(evidence: Evidence, each: Excursion) -> str:
    """``Mold core 2.7 °C warmer on average (up to 3.5 °C, over 93 shots)``; one level needs no average."""
    unit = evidence.units.get(each.key)
    mean = what_moved(
        Moved(
            key=each.key, direction=1 if each.level > each.center else -1, before=each.center,
            after=each.level, unit=unit, share=abs(each.sigmas), shots=each.signaled, single=False,
        )
    )  # fmt: skip
    most = amount(each.key, abs(each.farthest), unit)
    if each.steps == 1 or most == amount(each.key, abs(each.level - each.center), unit):
        return mean
    return f"{mean} on average (up to {most}, over {counted(each.farthest_shots, 'shot')})"


def discs_and_trays(evidence: Evidence, places: Sequence[int]) -> str:
    """``199 discs in trays 41 to 52``, and how many went to no known tray."""
    trays = evidence.shot_list.trays(places)
    bare = evidence.shot_list.without_tray(places)
    discs = counted(len(places), "disc")
    if not trays:
        return f"{discs}, in no known tray"
    rest = f" ({bare:,} of them in no known tray)" if bare else ""
    return f"{discs} in {tray_words(trays)}{rest}"


def shots(evidence: Evidence, places: Iterable[int]) -> str:
    """``shots 12 to 40, 52 and 60 to 71``, the first stretches of many."""
    found = [evidence.shot_list.span(first, last) for first, last in stretches(places)]
    if len(found) == 1:
        return found[0]
    parts = [part.split(" ", 1)[1] for part in found[:MOST_STRETCHES]]
    if len(found) > MOST_STRETCHES:
        parts.append(f"{len(found) - MOST_STRETCHES} more stretches")
    return f"shots {', '.join(parts[:-1])} and {parts[-1]}"


def rule(group: SignalGroup) -> str:
    """What was met, in plain words."""
    if group.kind != "chart":
        return "outside what the recipe allows" if group.kind == "setting" else rule_words(group.rule)
    if group.chart == "setting":
        return "not as set"
    if group.rule == "beyond_limit":
        return "beyond the limit"
    return run_rules.sentence(run_rules.named([group.rule])[0])


def difference(key: str, unit: str, compared: Compared) -> str:
    """What sets a group of discs apart, with its interval; only where there is one."""
    found = compared.difference
    text = (
        f"{quantities.label(key)} of {GROUPS[compared.group]} is {interval(key, unit, compared)}, "
        f"{found.flagged} against {found.unflagged} other discs"
    )
    flaws = "; ".join(reasons(key, unit, compared))
    return f"{text}: {flaws}" if flaws else text


def interval(key: str, unit: str, compared: Compared) -> str:
    """``0.59 mm higher (0.47 mm to 0.71 mm, 95 %)``; below zero the ends are those of the decrease."""
    found = compared.difference.interval
    if found is None:
        return NONE
    down = found.estimate < 0
    ends = (-found.high, -found.low) if down else (found.low, found.high)
    low, high = (quantities.format_value(key, end, unit) for end in ends)
    size = quantities.format_value(key, abs(found.estimate), unit)
    share = percent(compared.difference.confidence)
    return f"{size} {'lower' if down else 'higher'} ({low} to {high}, {share})"


def reasons(key: str, unit: str, compared: Compared) -> list[str]:
    """Why the comparison says less than it seems to."""
    found = list(compared.difference.reasons)
    if compared.age_gap_h is not None:
        later = "later" if compared.age_gap_h > 0 else "earlier"
        found.append(f"they were gauged {abs(compared.age_gap_h):.0f} h {later}, which alone may do that")
    if compared.left_out:
        found.append(_left_out(key, unit, compared))
    return found


def _left_out(key: str, unit: str, compared: Compared) -> str:
    """How many discs are left out, why, and what they would change: the Dome page compares with them."""
    text = (
        f"{counted(compared.left_out, 'disc')} left out, gauged more than {ALIKE_AGES_H:.0f} h earlier or "
        "later than most of the others, since discs go on shrinking"
    )
    every = compared.at_all_ages
    if every is None or every.interval is None:
        return text
    size = quantities.format_value(key, abs(every.interval.estimate), unit)
    more = "lower" if every.interval.estimate < 0 else "higher"
    against = f"{every.flagged} against {every.unflagged}"
    return f"{text} (with them, as the Dome page compares: {size} {more}, {against})"
