"""`evenrun check`: one control chart over one column of a CSV file."""

from __future__ import annotations

import json
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Literal

import numpy as np
import typer
from numpy.typing import NDArray
from rich.console import Console
from rich.table import Table

from collector.cli.column import read_column
from collector.contract.figures import significant
from collector.errors import UserError
from rules.charts import CusumChart, EwmaChart, IndividualsChart, Track
from rules.charts.chart import BEYOND_LIMIT
from rules.charts.moving_range import sigma_from_moving_ranges
from rules.limits import Limits
from rules.run_rules import named, sentence

__all__ = ["check"]

FloatArray = NDArray[np.float64]
CheckedChart = IndividualsChart | CusumChart | EwmaChart

SHOWN = 50

# Which options a chart takes: name of the option, name of the parameter.
OPTIONS: dict[str, dict[str, str]] = {
    "individuals": {"--width": "width", "--rules": "rules"},
    "cusum": {"--k": "k", "--h": "h", "--rules": "rules"},
    "ewma": {"--lambda": "lam", "--width": "width", "--rules": "rules"},
}


@dataclass(frozen=True, slots=True)
class Answer:
    """What a chart says about a series."""

    chart: CheckedChart
    limits: Limits
    track: Track

    def as_json(self) -> str:
        """Return the answer as one JSON object."""
        return json.dumps(
            {
                "center": self.chart.center,
                "sigma": self.chart.sigma,
                "lower": self.limits.lower,
                "upper": self.limits.upper,
                "signals": [{"index": index, "rule": rule} for index, rule in self.track.signals],
            },
            allow_nan=False,
        )


def check(
    file: Annotated[Path, typer.Argument(help="CSV file with one header line, decimal points, in UTF-8.")],
    *,
    column: Annotated[str, typer.Option(help="Header of the column to chart, in the order of production.")],
    chart: Annotated[
        Literal["individuals", "cusum", "ewma"],
        typer.Option(help="individuals: each value; cusum and ewma: small lasting shifts."),
    ] = "individuals",
    center: Annotated[float | None, typer.Option(help="Known level, in the unit of the column.")] = None,
    sigma: Annotated[float | None, typer.Option(help="Known standard deviation, same unit.")] = None,
    baseline: Annotated[
        int | None,
        typer.Option(
            help="Instead of both: estimate them from the first N values (sigma from moving ranges)."
        ),
    ] = None,
    skip: Annotated[
        int,
        typer.Option(min=0, help="Leave out the first N rows (startup); the others keep their numbers."),
    ] = 0,
    k: Annotated[float | None, typer.Option(help="Cusum: reference value in sigma (0.5).")] = None,
    h: Annotated[float | None, typer.Option(help="Cusum: decision interval in sigma (5).")] = None,
    lam: Annotated[
        float | None, typer.Option("--lambda", help="Ewma: weight of the newest value, 0 to 1 (0.2).")
    ] = None,
    width: Annotated[
        float | None, typer.Option(help="Individuals, ewma: limits in sigma of what is plotted (3).")
    ] = None,
    rules: Annotated[
        str | None,
        typer.Option(help="Individuals: run rules to watch for, with commas between (beyond_limit alone)."),
    ] = None,
    as_json: Annotated[
        bool, typer.Option("--json", help="Print one JSON object instead of a table.")
    ] = False,
) -> None:
    """Run one control chart over a column of FILE and list what signals.

    Give --center and --sigma where they are known, or --baseline N.
    Rows count from 0, after the header. An empty cell is a missing value:
    it is skipped, and it breaks a run. The limits of a cusum are in sigma;
    its sums have no cap and go on after a signal. The limits of an ewma are
    asymptotic, in the unit of the column. The exit code is 0 whether or not
    anything signals.
    """
    options = {"--k": k, "--h": h, "--lambda": lam, "--width": width, "--rules": rules}
    parameters = _parameters(chart, options)
    values = read_column(file, column)
    values[:skip] = np.nan
    level = _level(values, center, sigma, baseline)
    answer = _answer(chart, {**level, **parameters}, values)
    if as_json:
        sys.stdout.write(answer.as_json() + "\n")
    else:
        _show(answer, column)


def _parameters(chart: str, options: dict[str, Any]) -> dict[str, Any]:
    """Return the chart's parameters from the options given; refuse one it does not have."""
    parameters: dict[str, Any] = {}
    for option, value in options.items():
        if value is None:
            continue
        if option not in OPTIONS[chart]:
            owners = " or ".join(name for name, known in OPTIONS.items() if option in known)
            raise UserError(
                f"{option} has no meaning for a chart of kind {chart}; leave it out or use --chart {owners}"
            )
        parameters[OPTIONS[chart][option]] = value
    if "rules" in parameters:
        parameters["rules"] = _rules(chart, parameters["rules"])
    if chart != "individuals":
        parameters.pop("rules", None)
    if chart == "cusum":
        parameters["cap"] = sys.float_info.max  # the sums as published
    return parameters


def _rules(chart: str, text: str) -> tuple[str, ...]:
    names = tuple(name.strip() for name in text.split(",") if name.strip())
    try:
        rules = tuple(rule.name for rule in named(names))
    except ValueError as exc:
        raise UserError(str(exc)) from exc
    if not rules:
        raise UserError("--rules names no rule; leave it out for beyond_limit alone")
    if chart != "individuals" and rules != (BEYOND_LIMIT,):
        raise UserError(
            f"a chart of kind {chart} knows only {BEYOND_LIMIT}; leave --rules out or use --chart individuals"
        )
    return rules


def _level(
    values: FloatArray, center: float | None, sigma: float | None, baseline: int | None
) -> dict[str, float]:
    """Return center and sigma, given or estimated."""
    if baseline is not None and (center is not None or sigma is not None):
        raise UserError("give either --baseline or --center with --sigma, not both")
    if baseline is not None:
        return _estimated(values, baseline)
    if center is None or sigma is None:
        raise UserError("give --center and --sigma, or --baseline N to estimate them from the first N values")
    return {"center": center, "sigma": sigma}


def _estimated(values: FloatArray, baseline: int) -> dict[str, float]:
    present = np.flatnonzero(~np.isnan(values))
    if baseline < 2:
        raise UserError(f"a baseline of {baseline} has no moving range; give --baseline 2 or more")
    if baseline > present.size:
        raise UserError(
            f"a baseline of {baseline} is more than the {present.size} values there are; give fewer"
        )
    first = values[: present[baseline - 1] + 1]
    try:
        sigma = sigma_from_moving_ranges(first)
    except ValueError as exc:
        raise UserError(f"the first {baseline} values have no neighbors; give --center and --sigma") from exc
    if sigma == 0:
        raise UserError(
            f"the first {baseline} values are all equal; give --center and --sigma, or a longer baseline"
        )
    return {"center": float(np.nanmean(first)), "sigma": sigma}


def _answer(chart: str, parameters: dict[str, Any], values: FloatArray) -> Answer:
    kinds: dict[str, type[CheckedChart]] = {
        kind.name: kind for kind in (IndividualsChart, CusumChart, EwmaChart)
    }
    try:
        made = kinds[chart].from_parameters(parameters)
    except ValueError as exc:
        raise UserError(str(exc)) from exc
    _, track = made.run(values)
    return Answer(made, made.limits(), track)


def _show(answer: Answer, column: str) -> None:
    """Print the limits and the first signals for a reader."""
    console, chart, limits = Console(), answer.chart, answer.limits
    center, sigma, lower, upper = (
        significant(each, 6) for each in (chart.center, chart.sigma, limits.lower, limits.upper)
    )
    console.print(f"{column}: center {center}, sigma {sigma}", highlight=False)
    unit = "of the larger sum, in sigma" if isinstance(chart, CusumChart) else "in the unit of the column"
    console.print(f"Limits {lower} and {upper} {unit}", highlight=False)
    signals = answer.track.signals
    console.print(_summary(answer), highlight=False)
    if not signals:
        return
    console.print(_table(answer, signals[:SHOWN]))
    if len(signals) > SHOWN:
        console.print(f"{len(signals) - SHOWN} more signals; --json lists all of them.", highlight=False)


def _summary(answer: Answer) -> str:
    """How many values were judged, how many signal, and which came nearest to a limit."""
    plotted = answer.track.statistic
    judged = int(np.isfinite(plotted).sum())
    if not judged:
        return "No value to judge."
    middle = 0.0 if isinstance(answer.chart, CusumChart) else answer.chart.center
    far = int(np.nanargmax(np.abs(plotted - middle)))
    rows = len({index for index, _ in answer.track.signals})
    said = f"{rows:,} of {judged:,} values signal" if rows else f"None of {judged:,} values signals"
    return f"{said}; farthest from the center is row {far}, plotted at {significant(plotted[far], 6)}."


def _table(answer: Answer, signals: tuple[tuple[int, str], ...]) -> Table:
    table = Table("row", "plotted", "rule", "what it saw")
    for index, rule in signals:
        plotted = significant(answer.track.statistic[index], 6)
        table.add_row(str(index), plotted, rule, _seen(answer.chart, rule))
    return table


def _seen(chart: CheckedChart, rule: str) -> str:
    if isinstance(chart, IndividualsChart):
        return next(sentence(known) for known in chart.run_rules() if known.name == rule)
    what = "cumulative sum" if isinstance(chart, CusumChart) else "weighted average"
    return f"{what} beyond its limit"
