"""`evenrun run-length`: how many shots a chart goes before it signals, on the average and in most runs."""

from __future__ import annotations

import json
import math
from enum import StrEnum
from typing import Annotated

import typer

from collector.errors import UserError
from rules.run_length import (
    RunLengthDistribution,
    combined_run_length,
    cusum_run_length,
    ewma_run_length,
    individuals_run_length,
)

__all__ = ["run_length"]

LONGEST = 1e11  # shots: two hundred thousand years of a press
SHARES = (0.05, 0.5, 0.95)


class ChartName(StrEnum):
    """Charts whose run length can be asked for."""

    INDIVIDUALS = "individuals"
    CUSUM = "cusum"
    EWMA = "ewma"
    TOGETHER = "individuals-and-cusum"


# Options that belong to one chart; anything else beside it is a mistake worth a sentence.
_OWN_OPTIONS = {
    ChartName.INDIVIDUALS: {"--width", "--rules"},
    ChartName.CUSUM: {"--k", "--h", "--head-start"},
    ChartName.EWMA: {"--lambda", "--width", "--head-start"},
    ChartName.TOGETHER: {"--width", "--k", "--h"},
}


def run_length(
    *,
    chart: Annotated[ChartName, typer.Option("--chart", help="Kind of chart.")] = ChartName.INDIVIDUALS,
    k: Annotated[
        float | None, typer.Option("--k", help="CUSUM reference value, in sigma; 0.5 if not given.")
    ] = None,
    h: Annotated[
        float | None, typer.Option("--h", help="CUSUM decision interval, in sigma; 5 if not given.")
    ] = None,
    head_start: Annotated[
        bool,
        typer.Option(
            "--head-start",
            help="Start half way to the limits on both sides, a CUSUM at h / 2 (fast initial response).",
        ),
    ] = False,
    lam: Annotated[
        float | None,
        typer.Option("--lambda", help="EWMA weight of the newest value, above 0 to 1; 0.2 if not given."),
    ] = None,
    width: Annotated[
        float | None,
        typer.Option(
            "--width",
            help="Limits: individuals in sigma, EWMA in its own standard deviations; 3 if not given.",
        ),
    ] = None,
    rules: Annotated[
        str | None,
        typer.Option(
            "--rules",
            help="Run rules of an individuals chart, separated by commas, and exactly these; beyond_limit if "
            "not given. Numbers of your own follow a name: same_side:8 takes 8 shots, two_of_three:3/4 "
            "3 of 4, two_of_three@2-3 a zone from 2 to 3 sigma, avoiding+both shots on each side.",
        ),
    ] = None,
    shift: Annotated[float, typer.Option("--shift", help="How far the mean has moved, in sigma.")] = 0.0,
    as_json: Annotated[bool, typer.Option("--json", help="Print the numbers for another program.")] = False,
) -> None:
    """Print how many shots a chart goes until it signals.

    The average says little of a single run, so it also prints within how many
    shots 5, 50 and 95 % of all runs signal.

    Counted from a fresh start with the process already moved by --shift, for
    independent normal values; at shift 0 these are the shots between false
    alarms. All results are exact, none is simulated.

    Example: evenrun run-length --chart cusum --k 0.5 --h 5 --shift 1
    """
    given = {"--k": k, "--h": h, "--head-start": head_start or None, "--lambda": lam, "--width": width}
    _refuse_foreign(chart, {**given, "--rules": rules})
    if not math.isfinite(shift):
        raise UserError(f"--shift {shift} is no distance; give a number of sigma, for example 1.")
    try:
        distribution = _computed(
            chart, k=k, h=h, head_start=head_start, lam=lam, width=width, rules=rules, shift=shift
        )
    except ValueError as error:
        raise UserError(str(error)) from error
    typer.echo(_as_json(distribution) if as_json else _sentences(chart, distribution, shift))


def _refuse_foreign(chart: ChartName, given: dict[str, object]) -> None:
    """Refuse an option that the chosen chart does not have, before it is silently ignored."""
    for option, value in given.items():
        if value is not None and option not in _OWN_OPTIONS[chart]:
            own = ", ".join(sorted(_OWN_OPTIONS[chart]))
            raise UserError(f"{option} has no meaning for the {chart} chart; it takes {own}.")


def _computed(
    chart: ChartName,
    *,
    k: float | None,
    h: float | None,
    head_start: bool,
    lam: float | None,
    width: float | None,
    rules: str | None,
    shift: float,
) -> RunLengthDistribution:
    wide, reference, interval = (
        usual if given is None else given for given, usual in ((width, 3.0), (k, 0.5), (h, 5.0))
    )
    if chart is ChartName.CUSUM:
        start = interval / 2 if head_start else 0.0
        return cusum_run_length(k=reference, h=interval, shift=shift, head_start=start)
    if chart is ChartName.TOGETHER:
        return combined_run_length(width=wide, k=reference, h=interval, shift=shift)
    if chart is ChartName.EWMA:
        start = 0.5 if head_start else 0.0
        return ewma_run_length(lam=0.2 if lam is None else lam, width=wide, shift=shift, head_start=start)
    return individuals_run_length(width=wide, shift=shift, rules=_rules(rules))


def _rules(rules: str | None) -> tuple[str, ...]:
    """What stands between the commas; nothing said means the limits alone."""
    if rules is None:
        return ("beyond_limit",)
    names = tuple(name.strip() for name in rules.split(",") if name.strip())
    if not names:
        raise UserError("--rules names no rule; leave it out, or name one such as beyond_limit.")
    return names


def _as_json(distribution: RunLengthDistribution) -> str:
    """JSON has no infinity, so a run length beyond what means anything is null."""
    shown = distribution.mean < LONGEST
    quantiles = {f"{share:g}": int(distribution.quantile(share)) if shown else None for share in SHARES}
    return json.dumps({"arl": distribution.mean if shown else None, "quantiles": quantiles})


def _sentences(chart: ChartName, distribution: RunLengthDistribution, shift: float) -> str:
    shown = distribution.mean < LONGEST
    count = f"{distribution.mean:,.1f} shots" if shown else f"over {LONGEST:,.0f} shots"
    if shift == 0.0:
        average = f"The {chart} chart gives a false alarm every {count} on the average."
    else:
        average = f"The {chart} chart signals {count} after a shift of {shift:g} sigma on the average."
    if not shown:
        return average
    low, half, most = (f"{distribution.quantile(share):,.0f}" for share in SHARES)
    return f"{average}\nHalf of all runs signal within {half} shots, 5 % within {low}, 95 % within {most}."
