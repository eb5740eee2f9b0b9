"""The score as a table on a screen of 190 columns."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from rich import box
from rich.console import Console
from rich.table import Table

from simulator.score import Score
from simulator.score_figures import GOALS, Figures, figures, unseen
from simulator.score_sums import Figure

WIDTH = 190


def show(console: Console, scores: Sequence[Score]) -> None:
    """Print one line a scenario, the sum of all, the goals, and what no telemetry shows."""
    by_name: dict[str, list[Score]] = {}
    for score in scores:
        by_name.setdefault(score.scenario, []).append(score)
    title = "The service on simulated presses: figure ± standard error"
    table = Table(title=title, title_justify="left", box=box.SIMPLE, padding=(0, 1, 0, 0))
    for heading in ("scenario", *_COLUMNS):
        table.add_column(heading, justify="left" if heading == "scenario" else "right", no_wrap=True)
    for name, mine in by_name.items():
        table.add_row(name, *_cells(figures(mine)))
    table.add_section()
    total = figures(scores)
    table.add_row("all", *_cells(total))
    console.print(table)
    _goals(console, total)
    _hidden(console, scores)


_COLUMNS = (
    "faults", "shown\n%", "alarmed\n%", "in time\n%", "delay, shots\nmedian, 90 %",
    "from first out\nmedian, 90 %", "hours\ngained", "out held\n%", "held\nx perfect", "false\na day",
    "first shot off\nmedian, 90 %", "in set\n%",
)  # fmt: skip


def _cells(found: Mapping[str, Figure]) -> list[str]:
    return [
        str(found["shown"].n), _percent(found["shown"]), _percent(found["alarmed"]),
        _percent(found["in_time"]), _pair(found, "delay"), _pair(found, "from_out"),
        _number(found["hours_gained_median"], 1),
        _percent(found["out_held"]), _number(found["held_ratio"], 2), _number(found["false_per_day"], 2),
        _pair(found, "error"), _percent(found["covered"]),
    ]  # fmt: skip


def _goals(console: Console, found: Figures) -> None:
    table = Table(title="Goals", title_justify="left", box=box.SIMPLE)
    for heading in ("goal", "wanted", "figure", "se", "95 % interval", "of", ""):
        table.add_column(heading, no_wrap=True)
    for goal in GOALS:
        figure, met = found[goal.figure], goal.met(found[goal.figure])
        wanted = f"{'at least' if goal.at_least else 'at most'} {goal.bound:g}"
        verdict = "-" if met is None else "met" if met else "MISSED"
        interval = f"{_plain(figure.low, 3)} to {_plain(figure.high, 3)}"
        table.add_row(
            goal.says, wanted, _plain(figure.value, 3), _plain(figure.se, 3), interval, str(figure.n), verdict
        )
    console.print(table)
    parts = ", ".join(
        f"{_plain(found[name].value, 2)} {words}"
        for name, words in (
            ("held_ratio_of_movers", "touched by faults that put discs out of tolerance"),
            ("held_needless_ratio", "touched by faults that put none out"),
            ("held_sound_ratio", "that no fault touched"),
        )
    )
    console.print(f"Shots held, as multiples of what a perfect observer holds: {parts}.")


def _hidden(console: Console, scores: Sequence[Score]) -> None:
    listed = [
        f"{fault} {hidden} of {every}" + (f" ({out} with discs out of tolerance)" if out else "")
        for fault, (hidden, out, every) in sorted(unseen(scores).items())
    ]
    console.print(f"No telemetry shows: {'; '.join(listed) or 'none'}.")


def _percent(figure: Figure) -> str:
    if math.isnan(figure.value):
        return "-"
    se = "" if math.isnan(figure.se) else f" ±{100 * figure.se:.0f}"
    return f"{100 * figure.value:.0f}{se}"


def _number(figure: Figure, decimals: int) -> str:
    se = "" if math.isnan(figure.se) else f" ±{figure.se:.{decimals}f}"
    return _plain(figure.value, decimals) + se


def _pair(found: Mapping[str, Figure], name: str) -> str:
    median, late = found[f"{name}_median"], found[f"{name}_90"]
    return "-" if math.isnan(median.value) else f"{_number(median, 0)}, {_number(late, 0)}"


def _plain(number: float, decimals: int) -> str:
    if math.isnan(number):
        return "-"
    return "never" if math.isinf(number) else f"{number:.{decimals}f}"
