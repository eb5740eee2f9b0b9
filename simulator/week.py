"""What do the alarms of an ordinary week ask of people? ``python -m simulator.week``.

Six presses go through the ordinary week, message by message, with the real pipeline; nobody answers, so that
nothing is made quieter. Alarms are counted as the standard counts them, and are true or false by the story's
truth, which is looked at only afterwards (`simulator.score` states what counts as which).
"""

from __future__ import annotations

from collections import Counter
from datetime import UTC, datetime
from typing import Annotated

import numpy as np
import typer
from rich.console import Console
from rich.table import Table

from collector.alarms.figures import figures
from collector.settings import load_settings
from simulator.scenarios import SCENARIOS
from simulator.score import Score, judge
from simulator.score_truth import account
from simulator.score_watch import Watched, watch

MONDAY = datetime(2026, 11, 16, tzinfo=UTC)
STORY = "ordinary_week"
SHIFTS_PER_DAY = 3


def week(seed: Annotated[int, typer.Option(min=0, help="The same seed gives the same week.")] = 0) -> None:
    """Print what the alarms of an ordinary week of six presses ask of people, and which of them are true."""
    story = SCENARIOS[STORY](seed, MONDAY)
    watched = watch(story, load_settings())
    truth = account(story)
    score = judge(STORY, seed, truth, watched)
    console = Console(width=100)
    for line in (*_alarms(watched, score, presses=len(truth.sound)), *_times(score)):
        console.print(line, highlight=False)
    console.print(_standard(watched))


def _alarms(watched: Watched, score: Score, *, presses: int) -> list[str]:
    """How many, a shift, and of how many a fault was the reason."""
    days = watched.load.days
    opened, false = len(watched.alarms), len(score.false_alarms)
    a_shift = opened / (days * SHIFTS_PER_DAY)
    sound_days = sum(each.days for each in score.sound)
    kinds = Counter(alarm.kind for alarm in watched.alarms)
    by_kind = ", ".join(f"{count} {kind}" for kind, count in sorted(kinds.items()))
    return [
        f"{days:.1f} days, {presses} presses: {opened} alarms ({by_kind}), {a_shift:.2f} a shift on all.",
        f"{opened - false} at or soon after shots that a fault touched, {false} at sound ones: "
        f"{false / sound_days:.2f} false alarms in a sound day of a press, "
        f"{false / (days * SHIFTS_PER_DAY):.2f} a shift.",
        f"Floods: {len(watched.load.floods)}; most in 10 minutes: {watched.load.most_a_period:.0f}.",
    ]


def _times(score: Score) -> list[str]:
    """From the first touched shot to the alarm."""
    shown = [told for told in score.told if told.matter.shown_by]
    delays = sorted(told.delay for told in shown if told.delay is not None)
    if not delays:
        return [f"None of {len(shown)} faults that telemetry shows was alarmed."]
    middle, late = np.quantile(delays, (0.5, 0.9), method="inverted_cdf")  # so many are within it, or more
    return [
        f"{len(delays)} of {len(shown)} faults that telemetry shows alarmed, {middle} shots after the first "
        f"touched one (median; nine in ten within {late})."
    ]


def _standard(watched: Watched) -> Table:
    table = Table("measure", "here", "IEC 62682 / ANSI/ISA-18.2", "stands", title="For one operator")
    for each in figures(watched.load):
        table.add_row(each.measure, each.value, each.standard, each.stands)
    return table


if __name__ == "__main__":
    typer.run(week)
