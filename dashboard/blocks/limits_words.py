"""Words of the limits page: charts in physical units, delays, standing, what to know. Pure."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd

from collector.actions.limits_steady import Steady
from collector.actions.limits_study import Proposed
from collector.contract import quantities, unit_names
from collector.contract.figures import significant
from collector.plan import charts_from_json
from rules.baseline import Study
from rules.budget import SHIFTS
from rules.charts.chart import Chart

SIGNIFICANT = 2
LONGEST = 100_000
ROUTINE = ("Autocorrelation at lag 1", "Values come in steps", "A plain chart of such values cannot work")
DOUBTFUL = 0.01  # chance below which the spread after a boundary counts as changed
NAMED = 6
NEVER = "not seen"
STANDINGS = (
    "Provisional limits rest on few shots and may cry wolf several times too often; usable ones rest on what "
    "is worth 100 independent shots or more, firm ones on 300. A shot that resembles the one before counts "
    "for less than one."
)
_PLACES = re.compile(r"\b([Ss]hots? )(\d+(?:(?:, | to )\d+)*)")


def amount(key: str, value: float, unit: str | None = None) -> str:
    """A difference with its unit: two digits that count at least, however fine it is."""
    quantity = quantities.find(key)
    least = 0 if quantity is None else quantity.decimals
    size = math.floor(math.log10(abs(value))) if value else 0
    decimals = max(least, SIGNIFICANT - 1 - size)
    name = quantity.unit if quantity is not None else unit or ""
    # A difference of temperatures is no temperature, but it is written with the same sign.
    return f"{value:.{min(decimals, 9)}f} {unit_names.symbol(name)}".rstrip()


def chart_words(key: str, chart: Chart[Any], unit: str | None = None) -> str:
    """What makes this chart signal, with its constants in the unit of the characteristic."""
    known = _WORDS.get(chart.name)
    if known is not None:
        words: str = known(key, chart, unit)
        return words
    constants = ", ".join(f"{name} {_plain(value)}" for name, value in chart.parameters().items())
    return f"{chart.name.replace('_', ' ').capitalize()}: {constants}."


def _individuals(key: str, chart: Any, unit: str | None) -> str:
    return f"A single shot outside {_between(key, chart, unit)} ({chart.width:.2f} sigma)."


def _cusum(key: str, chart: Any, unit: str | None) -> str:
    k = max(chart.k, chart.minimum_shift / chart.sigma)
    allowance, interval = (amount(key, each * chart.sigma, unit) for each in (k, chart.h))
    return f"The sum of what goes beyond {allowance} from center, over {interval}."


def _ewma(key: str, chart: Any, unit: str | None) -> str:
    return f"The weighted average outside {_between(key, chart, unit)}."


def _moving_range(key: str, chart: Any, unit: str | None) -> str:
    return f"A jump of more than {amount(key, chart.limits().upper, unit)} from one shot to the next."


def _setting(key: str, chart: Any, unit: str | None) -> str:
    return f"Any change from {quantities.format_value(key, chart.setpoint, unit)}."


def _engineering(key: str, chart: Any, unit: str | None) -> str:
    return f"A shot outside {_between(key, chart, unit)}, whatever it does inside."


def _spread(key: str, chart: Any, unit: str | None) -> str:
    return f"A scatter of neighboring shots over {amount(key, chart.limits().upper, unit)}."


def _residual(key: str, chart: Any, unit: str | None) -> str:
    inner = ", ".join(f"{name} {_plain(value)}" for name, value in chart.chart_parameters.items())
    return (
        f"What the shot before does not explain ({chart.chart} of it: {inner}; a sigma of the values is "
        f"{amount(key, chart.sigma, unit)}, autocorrelation {chart.phi:.2f})."
    )


def _between(key: str, chart: Any, unit: str | None) -> str:
    lines = chart.limits()
    low, high = (quantities.format_value(key, each, unit) for each in (lines.lower, lines.upper))
    return f"{low.split(' ')[0]} to {high}"


_WORDS: Mapping[str, Any] = {
    "individuals": _individuals, "cusum": _cusum, "ewma": _ewma, "moving_range": _moving_range,
    "setting": _setting, "engineering_limits": _engineering, "spread": _spread, "residual": _residual,
}  # fmt: skip


def _plain(value: object) -> str:
    return significant(value, 4) if isinstance(value, float) else str(value)


def now_words(row: Any, unit: str | None = None) -> str:
    """The limits in force, to be read beside the proposed ones."""
    lines = [chart_words(row.key, chart, unit) for chart in charts_from_json(row.charts)]
    whose = f"approved by {row.approved_by}" if row.approved_by else "made by the service for this run"
    return f"In force, {row.standing}, {whose}: {' '.join(lines)}"


def rests_on(each: Proposed) -> str:
    """The shots behind the limits and what they are worth."""
    made = each.limits
    if made is None:
        return ""
    band, found = each.proposal.band, each.proposal.study
    if band is not None:
        worth = band.looks
    else:
        worth = found.standing.effective_n if found else made.baseline.effective_n()
    return f"{made.baseline.n:,} shots, worth {worth:,.0f} independent ones"


def delay_rows(each: Proposed, cycle_s: float, unit: str | None = None) -> list[dict[str, str]]:
    """How long a lasting shift of so many sigma goes unseen, in shots and minutes."""
    made = each.limits
    if made is None or not each.proposal.delay:
        return []
    sigma = made.baseline.sigma
    return [
        {
            "A lasting shift of": f"{amount(each.key, shift * sigma, unit)} ({shift:.2g} sigma)",
            "signals after": seen_after(shots, cycle_s),
        }
        for shift, shots in sorted(each.proposal.delay.items())
    ]


def seen_after(shots: float, cycle_s: float) -> str:
    """A mean delay in shots and in time."""
    if math.isinf(shots):
        return NEVER
    shots = max(shots, 1.0)  # a shift is seen with the first shot that has it, not before
    return f"{counted_shots(shots)}, {duration(shots * cycle_s)}"


def counted_shots(shots: float) -> str:
    """The same with its noun."""
    return "1 shot" if shots == 1 else f"{count(shots)} shots"


def count(shots: float) -> str:
    """A mean number of shots, no finer than it is known."""
    if shots >= LONGEST:
        return f"over {LONGEST:,}"
    return f"{shots:,.0f}" if shots >= 10 else f"{shots:.1f}"


def duration(seconds: float) -> str:
    """Minutes, then hours, then days."""
    minutes = seconds / 60.0
    if minutes < 120:
        return f"{minutes:.0f} min" if minutes >= 10 else f"{minutes:.1f} min"
    hours = minutes / 60.0
    return f"{hours:.1f} h" if hours < 48 else f"{hours / 24.0:,.0f} days"


def rate(per_shift: float | None) -> str:
    """False alarms of one characteristic in a shift, and how many shifts that is for one."""
    if per_shift is None:
        return "no rate can be computed"
    if per_shift <= 0.0:
        return "none"
    shifts = 1.0 / per_shift
    often = f"one in {shifts:,.0f} shifts" if shifts < LONGEST else f"less than one in {LONGEST:,} shifts"
    return f"{significant(per_shift, 2)} in 8 h ({often})"


def shot_name(steady: Steady, place: int) -> str:
    """How people call the shot at a place of the study: by its counter where it has one."""
    counter = steady.frame["counter"].iloc[min(place, len(steady.frame) - 1)]
    return f"{place + 1} of the study" if pd.isna(counter) else f"{int(counter):,}"


def with_counters(sentence: str, steady: Steady, first: int = 0) -> str:
    """The sentence with the press's counters in place of the places in the study, counted from `first`."""

    def named(found: re.Match[str]) -> str:
        return found[1] + re.sub(r"\d+", lambda place: shot_name(steady, first + int(place[0])), found[2])

    return _PLACES.sub(named, sentence)


def to_know(each: Proposed, steady: Steady) -> tuple[list[str], list[str]]:
    """What the study says: what a person must see, and what there is to read.

    Of limits that rest on a stretch of the shots, it is the study of that stretch that speaks. Outliers have
    their own place, and so has what must be confirmed.
    """
    if each.study is None:
        return [], []
    found, first = _speaking(each)
    notes = found.notes[: len(found.notes) - len(found.proposed)]
    routine = [note for note in notes if _is_routine(note, found)]
    told = f"{each.proposal.why} {each.proposal.confirm}"
    must = [note for note in notes if note not in routine and note.rstrip(".") not in told]
    if each.proposal.widening is not None:
        routine.append(each.proposal.widening.sentence)
    must, routine = ([with_counters(note, steady, first) for note in each] for each in (must, routine))
    smallest = steady.minimum_shift.get(each.key, 0.0)
    if each.limits is not None and smallest > min(SHIFTS) * each.limits.baseline.sigma:
        must.append(f"Shifts under {amount(each.key, smallest)} do not matter here, so none is looked for.")
    return must, routine


def _speaking(each: Proposed) -> tuple[Study, int]:
    """The study behind the limits, and the place of its first shot among all that were studied."""
    assert each.study is not None
    part, level = each.proposal.study, each.study.stability
    if part is None or level.verdict != "steps" or not each.proposal.charts:
        return each.study, 0
    return part, level.stretch[0]


def _is_routine(note: str, found: Study) -> bool:
    """Whether a note says what every study says."""
    unchanged = {
        each.sentence for each in found.changes if not (each.level_changed or each.spread_p < DOUBTFUL)
    }
    said = {found.spread.sentence, found.standing.sentence, *unchanged}
    return note in said or note.startswith(ROUTINE)


def outlier_words(each: Proposed, steady: Steady, unit: str | None = None) -> dict[int, str]:
    """Shots that stand out, by id: which shot, its value, and why; those left out stay in the list."""
    ids = steady.frame["id"].to_numpy()
    reasons = {} if each.study is None else {int(ids[one.index]): one.reason for one in each.study.proposed}
    chosen = sorted({*each.standing_out, *each.left_out})
    places = {int(shot_id): place for place, shot_id in enumerate(ids)}
    words = {}
    for shot_id in chosen:
        place = places[shot_id]
        value = quantities.format_value(each.key, float(steady.frame[each.key].iloc[place]), unit)
        reason = reasons.get(shot_id, "Left out of the baseline.")
        words[shot_id] = f"Shot {shot_name(steady, place)}: {value}. {reason}"
    return words


def listed(counters: Sequence[str]) -> str:
    """The first few of many."""
    named = ", ".join(counters[:NAMED])
    return f"{named} and {len(counters) - NAMED} more" if len(counters) > NAMED else named
