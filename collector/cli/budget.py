"""`evenrun budget`: the chart plan of a floor, and what it costs in false alarms and in delay."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated, Any

import numpy as np
import typer
from rich import box
from rich.console import Console
from rich.table import Table

from collector.cli.budget_floor import Charted, Defaults, described, equal, from_settings
from collector.contract import quantities
from collector.errors import UserError
from collector.settings import load_settings
from collector.verdict import DEFAULT_CYCLE_S
from rules.budget import SHIFTS, Cost, Plan, cost, solve_press
from rules.run_rules import RULES

__all__ = ["budget"]

SIGMA = "\N{GREEK SMALL LETTER SIGMA}"
CLASSIC = {
    "individuals, 3 sigma": ("beyond_limit",),
    "individuals, all eight run rules": tuple(rule.name for rule in RULES),
}
FEWEST = 25  # shots, as for provisional limits
SEED = 1  # the eight rules are simulated; the same answer each time


def budget(
    *,
    false_alarms: Annotated[
        float | None,
        typer.Option(help="False alarms a press may raise in 24 h; the settings' if not given."),
    ] = None,
    cycle_time: Annotated[float, typer.Option(help="Seconds from shot to shot.")] = DEFAULT_CYCLE_S,
    characteristics: Annotated[
        int | None, typer.Option(help="So many equal characteristics, instead of those of the settings.")
    ] = None,
    characteristic: Annotated[
        list[str] | None,
        typer.Option(
            help="One characteristic, as NAME,phi=0.5,n=300,sigma=0.2,minimum_shift=0.1,share=0.3,vital=no: "
            "autocorrelation, shots in its baseline, sigma and smallest shift that matters in one unit, its "
            "part of the false alarms, and whether it gets a CUSUM. Only the name is needed. May be given "
            "many times."
        ),
    ] = None,
    phi: Annotated[
        float, typer.Option(help="Autocorrelation at lag 1 of those that do not say otherwise.")
    ] = 0.0,
    baseline: Annotated[
        int | None,
        typer.Option(help="Shots in the baseline of those that do not say otherwise; known if not given."),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON object instead of tables.")] = False,
) -> None:
    """Print the charts that keep a press to its false-alarm budget, and what they cost.

    For each characteristic: limits and CUSUM in sigma, the false alarms to
    expect, and the mean number of shots until a lasting shift of 0.5, 1, 2 or 3
    sigma is signaled. Below it, what textbook charts would cost on the same floor.

    Without --characteristics or --characteristic the floor is that of the
    settings. A characteristic that is not vital gets the single-shot limit alone.

    Example: evenrun budget --characteristics 10 --phi 0.5 --baseline 300
    """
    charts = load_settings().charts
    defaults = _defaults(phi, baseline)
    floor = _floor(characteristics, characteristic, charts, defaults)
    allowed = charts.false_alarms_per_day if false_alarms is None else false_alarms
    try:
        answer = _answer(floor, allowed, cycle_time)
    except ValueError as error:
        raise UserError(str(error)) from error
    if as_json:
        typer.echo(json.dumps(_as_json(answer), allow_nan=False))
    else:
        _show(answer)


def _defaults(phi: float, baseline: int | None) -> Defaults:
    if not 0.0 <= phi <= 0.99:
        raise UserError(f"--phi {phi} is no autocorrelation to chart; give a number from 0 to 0.99")
    if baseline is not None and baseline < FEWEST:
        raise UserError(f"a baseline of {baseline} shots sets no limits; give --baseline {FEWEST} or more")
    return Defaults(phi=phi, baseline=baseline)


def _floor(count: int | None, specs: Sequence[str] | None, charts: Any, defaults: Defaults) -> list[Charted]:
    if count is not None and specs:
        raise UserError("give either --characteristics or --characteristic, not both")
    if count is not None:
        return equal(count, defaults)
    return described(specs, charts, defaults) if specs else from_settings(charts, defaults)


@dataclass(frozen=True, slots=True)
class Row:
    """One characteristic: its plan and what that costs."""

    charted: Charted
    plan: Plan
    cost: Cost


@dataclass(frozen=True, slots=True)
class Answer:
    """The plan of a press, and what textbook charts would cost it."""

    allowed: float
    cycle_time_s: float
    rows: tuple[Row, ...]
    classic: dict[str, tuple[float, float]]  # false alarms in 24 h, slowest delay of 1 sigma

    @property
    def per_day(self) -> float:
        """False alarms of the press in 24 h."""
        return math.fsum(row.cost.false_alarms_per_day for row in self.rows)


def _answer(floor: list[Charted], allowed: float, cycle_time_s: float) -> Answer:
    solved = solve_press(
        [each.characteristic for each in floor], cycle_time_s=cycle_time_s, false_alarms_per_day=allowed
    )
    rows = []
    for each in floor:
        plan = solved.plans[each.name]
        rows.append(Row(each, plan, cost(plan, cycle_time_s=cycle_time_s)))
    classic = {name: _classic(rules, rows, cycle_time_s) for name, rules in CLASSIC.items()}
    return Answer(allowed, cycle_time_s, tuple(rows), classic)


def _classic(rules: tuple[str, ...], rows: list[Row], cycle_time_s: float) -> tuple[float, float]:
    """What the same rules on every characteristic cost, limits from known sigma."""
    charged = {
        phi: cost(rules, cycle_time_s=cycle_time_s, phi=phi, shifts=[1.0], rng=np.random.default_rng(SEED))
        for phi in {row.plan.phi for row in rows}
    }
    per_day = math.fsum(charged[row.plan.phi].false_alarms_per_day for row in rows)
    return per_day, max(each.delay[1.0] for each in charged.values())


def _as_json(answer: Answer) -> dict[str, Any]:
    """JSON has no infinity: a delay beyond computing is null."""
    return {
        "allowed_per_day": answer.allowed,
        "cycle_time_s": answer.cycle_time_s,
        "false_alarms_per_shift": answer.per_day / 3.0,
        "false_alarms_per_day": answer.per_day,
        "characteristics": [_row_as_json(row) for row in answer.rows],
        "classic": [
            {
                "charts": name,
                "false_alarms_per_shift": per_day / 3.0,
                "false_alarms_per_day": per_day,
                "longest_delay_of_1_sigma": _finite(delay),
            }
            for name, (per_day, delay) in answer.classic.items()
        ],
    }


def _row_as_json(row: Row) -> dict[str, Any]:
    known = row.charted.characteristic
    charts: list[dict[str, Any]] = [{"chart": "individuals", "width": row.plan.width}]
    if math.isfinite(row.plan.h):
        charts.append({"chart": "cusum", "k": row.plan.k, "h": row.plan.h})
    return {
        "name": known.name,
        "phi": row.plan.phi,
        "n": known.n,
        "minimum_shift": known.minimum_shift,
        "vital": known.vital,
        "standing": row.charted.standing,
        "charts": charts,
        "false_alarms_per_shift": row.cost.false_alarms_per_shift,
        "false_alarms_per_day": row.cost.false_alarms_per_day,
        "delay": {f"{shift:g}": _finite(shots) for shift, shots in row.cost.delay.items()},
    }


def _finite(number: float) -> float | None:
    return number if math.isfinite(number) else None


def _show(answer: Answer) -> None:
    console = Console()
    console.print(
        f"Allowed: {answer.allowed:g} false alarms a press in 24 h, at a cycle of {answer.cycle_time_s:g} s.",
        highlight=False,
    )
    console.print(_plan_table(answer))
    for row in answer.rows:
        if row.charted.ignored_minimum is not None:
            console.print(
                f"The minimum shift of {row.charted.name} ({row.charted.ignored_minimum:g}) is not counted; "
                f"give its sigma: --characteristic {row.charted.name},sigma=...",
                highlight=False,
            )
    console.print("\nTextbook charts on the same floor, sigma known:", highlight=False)
    console.print(_classic_table(answer))


def _plan_table(answer: Answer) -> Table:
    """Narrow enough for a terminal of 80 characters with names of usual length."""
    table = Table(
        box=box.SIMPLE_HEAD, padding=(0, 1, 0, 0), caption_justify="left",
        caption="single: limit for one bad shot, in sigma. 8 h, 24 h: false alarms. Then the shots, on the "
        "mean, until a lasting shift of so many sigma is signaled.",
    )  # fmt: skip
    table.add_column("watched", overflow="fold", min_width=12)
    for name in ("single", "CUSUM k, h", "8 h", "24 h", *(f"{shift:g}{SIGMA}" for shift in SHIFTS)):
        table.add_column(name, justify="right", no_wrap=True)
    table.add_column("standing", no_wrap=True)
    for row in answer.rows:
        cusum = f"{row.plan.k:.2f}, {row.plan.h:.2f}" if math.isfinite(row.plan.h) else "none"
        told = (row.cost.false_alarms_per_shift, row.cost.false_alarms_per_day)
        table.add_row(
            quantities.label(row.charted.name), f"{row.plan.width:.2f}", cusum,
            *(f"{number:.2f}" for number in told), *(_shots(row.cost.delay[shift]) for shift in SHIFTS),
            row.charted.standing,
        )  # fmt: skip
    table.add_section()
    table.add_row("the press", "", "", f"{answer.per_day / 3.0:.2f}", f"{answer.per_day:.2f}")
    return table


def _classic_table(answer: Answer) -> Table:
    table = Table(box=box.SIMPLE_HEAD, padding=(0, 1, 0, 0))
    table.add_column("charts")
    for name in ("8 h", "24 h", f"shots until 1{SIGMA} is seen"):
        table.add_column(name, justify="right", no_wrap=True)
    for name, (per_day, delay) in answer.classic.items():
        table.add_row(name, f"{per_day / 3.0:.1f}", f"{per_day:.1f}", _shots(delay))
    return table


def _shots(number: float) -> str:
    """A number of shots, no more digits than matter."""
    if number >= 100_000:
        return "never" if math.isinf(number) else "> 100,000"
    return f"{number:,.0f}" if number >= 100 else f"{number:.1f}"
