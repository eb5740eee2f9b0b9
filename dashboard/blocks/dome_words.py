"""What the statistics of dome say, in sentences that a person on the floor can use. Pure."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable

from collector.contract import quantities, unit_names
from collector.contract.figures import percent
from collector.gauging.age import set_time_h
from rules.dome.effect import Effect
from rules.dome.link import Difference
from rules.dome.skill import Rate, Skill
from rules.dome.welch import Interval

# A hold after a gauging out of tolerance would foretell what it follows from.
_HOLD = (
    "it lies on an alarm's hold (from the estimated change on; the hold of a gauging out of tolerance does "
    "not count)"
)
FLAG = {"either": f"its shot signaled, or {_HOLD}", "signal": "its shot signaled", "hold": _HOLD}
VERBS = {"dome": "dome"}
# A reason to leave a reading out speaks of one; these are for several.
SEVERAL = {
    "waits for its shot": "wait for their shot",
    "names a tray, no single disc": "name a tray, no single disc",
    "gauged before its set time": "gauged before their set time",
}
CERTAINTY = {"clear": "clear", "weak": "weak", "none": "not enough data"}


def difference(found: Difference, characteristic: str, unit: str | None = None) -> str:
    """Flagged against unflagged, in one sentence; the reason instead of a number where there is none.

    `unit` is needed for a characteristic that the quantities table does not know.
    """
    name = quantities.label(characteristic).lower()
    counted = f"{found.flagged} flagged and {found.unflagged} unflagged discs of {_runs(found.runs)}"
    if found.interval is None:
        return f"Nothing can be said yet about the {name} of flagged discs: {'; '.join(found.reasons)}."
    more = "higher" if found.interval.estimate >= 0 else "lower"
    size = _size(found.interval, characteristic, found.confidence, unit)
    if found.certainty == "clear":
        verb = VERBS.get(characteristic, f"have a {name}")
        return f"Flagged discs {verb} {size[0]} {more} ({size[1]}), {counted}."
    return (
        f"No certain difference in {name}: flagged discs {size[0]} {more} ({size[1]}), {counted}; "
        f"{'; '.join(found.reasons)}."
    )


def method(found: Difference) -> str:
    """How the numbers came about."""
    if found.method is None:
        return ""
    how = (
        "means, without assuming equal spread (Welch)" if found.method == "means"
        else "ranks, since there are few discs"
    )  # fmt: skip
    each = ", each run with itself" if found.runs > 1 else ""
    left = f" {_discs(found.left_out)} of runs with one kind only are left out." if found.left_out else ""
    return (
        f"Compared by {how}{each}. The interval takes discs as independent; discs of one stretch are alike, "
        f"so the true uncertainty is larger.{left}"
    )


def gauge(found: Difference, sigma: float | None, characteristic: str, unit: str | None = None) -> str:
    """What part the gauge has in the spread."""
    if sigma is None:
        return "The gauge's own error is not known; enter its sigma from a gauge study to see its part."
    if found.gauge_share is None:
        return ""
    share = percent(found.gauge_share)
    value = quantities.format_value(characteristic, sigma, unit)
    return f"The gauge (sigma {value}) accounts for {share} of the variance within the groups."


def apart(reasons: Iterable[str], characteristic: str, late: int) -> str:
    """Which readings are left out, and why."""
    counts = Counter(reasons)
    said = ", ".join(
        f"{n} {reason if n == 1 else SEVERAL.get(reason, reason)}" for reason, n in counts.most_common()
    )
    first = f"Left out and listed below: {said}." if counts else "No reading is left out."
    after = f" {_discs(late)} gauged after the usual 24 to 72 h are included." if late else ""
    needed = set_time_h(characteristic)
    rule = (
        f"Readings from {needed:.0f} h after molding on count, whatever their age; a run audit compares "
        "discs of like age where ages differ."
        if needed
        else "Readings count at any age."
    )
    return f"{rule} {first}{after}"


def effect(found: Effect, characteristic: str, unit: str | None = None) -> str:
    """Slope of a characteristic in units: ``0.20 mm higher for each °C more (0.15 to 0.25 mm)``."""
    if found.slope is None:
        return "; ".join(found.reasons)
    unit = unit_names.symbol(unit or quantities.unit(characteristic) or "")
    step = unit_names.symbol(quantities.unit(found.key) or "")
    more = "higher" if found.slope.estimate >= 0 else "lower"
    wide = found.slope.high - found.slope.low
    decimals = max(0, 1 - math.floor(math.log10(wide))) if wide > 0 else 3
    size = f"{abs(found.slope.estimate):.{decimals}f}"
    return f"{size} {unit} {more} for each {step or 'unit'} more ({_ends(found.slope, decimals, f' {unit}')})"


def strongest(effects: list[Effect], characteristic: str, unit: str | None = None) -> str:
    """The clear effects in a sentence, or that there is none."""
    clear = [found for found in effects if found.certainty == "clear"]
    name = quantities.label(characteristic)
    if not clear:
        stated = [found for found in effects if found.certainty != "none"]
        if not stated:
            return f"Too few discs to say what {name.lower()} goes along with."
        return f"{name} goes along with none of {len(stated)} characteristics clearly."
    first = clear[0]
    others = f", and with {_more(len(clear) - 1)}" if len(clear) > 1 else ""
    key = quantities.label(first.key).lower()
    return (
        f"{name} goes along most with {key}: {effect(first, characteristic, unit)}{others}."
        f" Characteristics that move together share their effect."
    )


def meaning(key: str) -> str:
    """``Part weight: all discs of the shot, weighed at the press.``; for names that are easily confused."""
    quantity = quantities.find(key)
    assert quantity is not None  # asked for keys of the table only
    note = quantity.note
    return f"{quantity.label}: {note[:1].lower()}{note[1:]}"


def skill(found: Skill) -> str:
    """What flags were worth, in one or two sentences."""
    out = found.hits + found.misses
    if found.foretold.interval is None:
        first = f"How often a flag foretells a bad disc cannot be said yet: {found.foretold.reason}."
    else:
        first = (
            f"Of {_discs(out)} out of tolerance {found.hits} had been flagged "
            f"({_percent(found.foretold.interval)}){lead(found, ', %s before the gauge')}."
        )
    second = (
        f" Of {found.false.n} flagged discs {found.false_calls} were within tolerance "
        f"({_percent(found.false.interval)})." if found.false.interval else ""
    )  # fmt: skip
    near = f" {_discs(found.undecided)} lie too near a limit for this gauge." if found.undecided else ""
    return first + second + near


def rate(found: Rate) -> str:
    """A proportion for the table, or the reason why there is none."""
    if found.interval is None:
        return found.reason
    return f"{found.count} of {found.n}: {_percent(found.interval)}"


def lead(found: Skill, pattern: str = "%s") -> str:
    """Shortest to longest time from the flag to the gauging; empty when none is known."""
    if found.lead_h is None:
        return ""
    low, _, high = found.lead_h
    return pattern % (f"{low:.0f} h" if round(low) == round(high) else f"{low:.0f} to {high:.0f} h")


def _size(interval: Interval, characteristic: str, confidence: float, unit: str | None) -> tuple[str, str]:
    value = quantities.format_value(characteristic, abs(interval.estimate), unit)
    decimals = len(value.split()[0].partition(".")[2])
    return value, f"{_ends(interval, decimals)}, {percent(confidence)}"


def _ends(interval: Interval, decimals: int, unit: str = "") -> str:
    """Both ends in the direction of the estimate; where they lie on two sides of 0, each says its own."""
    low, high, sides = interval.low, interval.high, ("lower", "higher")
    if interval.estimate < 0:
        low, high, sides = -high, -low, sides[::-1]
    if low >= 0:
        return f"{low:.{decimals}f} to {high:.{decimals}f}{unit}"
    return f"{-low:.{decimals}f}{unit} {sides[0]} to {high:.{decimals}f}{unit} {sides[1]}"


def _percent(interval: Interval) -> str:
    share, low, high = (100 * each for each in (interval.estimate, interval.low, interval.high))
    return f"{share:.0f} %, {low:.0f} to {high:.0f} %"


def _runs(n: int) -> str:
    return "1 run" if n == 1 else f"{n} runs"


def _more(n: int) -> str:
    return "1 more characteristic" if n == 1 else f"{n} more characteristics"


def _discs(n: int) -> str:
    return "1 disc" if n == 1 else f"{n} discs"
