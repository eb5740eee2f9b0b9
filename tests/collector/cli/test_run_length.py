"""The command prints published run lengths, and refuses what it cannot compute in one sentence."""

from __future__ import annotations

import json
import re

import pytest
import typer
from scipy.stats import geom, norm
from typer.testing import CliRunner

from collector.cli.run_length import run_length
from collector.errors import UserError

app = typer.Typer()
app.command()(run_length)


def _arl(*options: str) -> float:
    result = CliRunner().invoke(app, [*options, "--json"], catch_exceptions=False)
    assert result.exit_code == 0, result.output
    parsed = json.loads(result.stdout)
    assert list(parsed) == ["arl", "quantiles"]
    return float(parsed["arl"])


@pytest.mark.parametrize(
    ("options", "published", "tolerance"),
    [
        # Champ and Woodall (1987), Technometrics 29, 393-399, Table 1, rule 1
        (["--chart", "individuals", "--shift", "0"], 370.40, 0.01),
        (["--chart", "individuals", "--shift", "1"], 43.89, 0.01),
        (["--chart", "individuals", "--shift", "-2"], 6.30, 0.01),
        # The same table, rules 1 and 2 together
        (["--chart", "individuals", "--rules", "beyond_limit,two_of_three", "--shift", "0"], 225.44, 0.01),
        (["--chart", "individuals", "--rules", "beyond_limit, four_of_five", "--shift", "0"], 166.05, 0.01),
        # The same table, all four zone rules; it counts eight on one side
        (["--rules", "beyond_limit,two_of_three,four_of_five,same_side:8"], 91.75, 0.01),
        # The same table, rules 1 and 5, then 7 and 8, with zones that end
        (["--rules", "beyond_limit,two_of_three:2/2@2-3"], 278.03, 0.02),
        (["--rules", "beyond_limit@3.09,two_of_three@1.96-3.09"], 239.75, 0.05),
        # Lucas and Crosier (1982), Technometrics 24, 199-205
        (["--chart", "cusum", "--k", "0.5", "--h", "5", "--shift", "0"], 465, 0.5),
        (["--chart", "cusum", "--k", "0.5", "--h", "5", "--shift", "1"], 10.4, 0.05),
        (["--chart", "cusum", "--k", "0.5", "--h", "5", "--head-start", "--shift", "1"], 6.35, 0.005),
        # Lucas and Saccucci (1990), Technometrics 32, 1-12
        (["--chart", "ewma", "--lambda", "0.1", "--width", "2.814", "--shift", "1"], 10.3, 0.05),
        (["--chart", "ewma", "--lambda", "0.2", "--width", "2.962"], 500, 0.5),
    ],
)
def test_published_values_come_out(options: list[str], published: float, tolerance: float) -> None:
    assert _arl(*options) == pytest.approx(published, abs=tolerance)


def test_quantiles_of_limits_alone_are_geometric() -> None:
    result = CliRunner().invoke(app, ["--shift", "1", "--json"])

    beyond = norm.sf(2.0) + norm.cdf(-4.0)
    expected = {str(share): int(geom(beyond).ppf(share)) for share in (0.05, 0.5, 0.95)}
    assert json.loads(result.stdout)["quantiles"] == expected


@pytest.mark.parametrize(("shift", "published"), [(0, 391), (0.5, 37.2), (1, 10.2), (2, 3.77)])
def test_two_charts_together_signal_as_published(shift: float, published: float) -> None:
    """Lucas (1982), J. Quality Technology 14, 51-59 (from memory), by a chain coarser than ours."""
    computed = _arl("--chart", "individuals-and-cusum", "--width", "3.5", "--shift", str(shift))

    assert computed == pytest.approx(published, rel=0.02)


def test_a_head_start_finds_a_shift_sooner_on_both_charts_that_have_one() -> None:
    for chart in ("cusum", "ewma"):
        moved = ("--chart", chart, "--shift", "1")
        assert _arl(*moved, "--head-start") < _arl(*moved) - 1


def test_rules_mean_exactly_the_rules_named() -> None:
    """Nine in a row on one side alone: 511 (Feller, Probability Theory vol. 1, XIII.7)."""
    assert _arl("--rules", "same_side") == pytest.approx(511)


def test_without_json_it_says_a_sentence() -> None:
    quiet = CliRunner().invoke(app, [])
    moved = CliRunner().invoke(app, ["--chart", "cusum", "--shift", "1"])

    # Geometric: with p = 0.0026998, 1 - (1 - p)^n first reaches 5, 50 and 95 % at n = 19, 257 and 1,109.
    assert quiet.stdout == (
        "The individuals chart gives a false alarm every 370.4 shots on the average.\n"
        "Half of all runs signal within 257 shots, 5 % within 19, 95 % within 1,109.\n"
    )
    assert moved.stdout.startswith(
        "The cusum chart signals 10.4 shots after a shift of 1 sigma on the average.\n"
    )
    assert "Half of all runs signal within 9 shots" in moved.stdout


def test_a_run_length_beyond_computing_is_null_and_said_so() -> None:
    options = ["--chart", "cusum", "--h", "60"]

    assert json.loads(CliRunner().invoke(app, [*options, "--json"]).stdout) == {
        "arl": None,
        "quantiles": {"0.05": None, "0.5": None, "0.95": None},
    }
    assert "over 100,000,000,000 shots" in CliRunner().invoke(app, options).stdout


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--rules", "zigzag"], "zigzag"),
        (["--rules", " , "], "names no rule"),
        (["--rules", "same_side:many"], "cannot be read; write a name"),
        (["--rules", "two_of_three:4"], "not of how many; write two_of_three:4/N"),
        (["--width", "0"], "width is 0.0"),
        (["--chart", "cusum", "--h", "-1"], "h is -1.0"),
        (["--chart", "ewma", "--lambda", "2"], "lambda is 2.0"),
        (["--chart", "cusum", "--width", "3"], "--width has no meaning for the cusum chart"),
        (["--chart", "ewma", "--rules", "trend"], "--rules has no meaning for the ewma chart"),
        (["--shift", "nan"], "--shift nan"),
    ],
)
def test_what_cannot_be_computed_is_one_sentence(options: list[str], words: str) -> None:
    result = CliRunner().invoke(app, options)

    assert isinstance(result.exception, UserError)
    assert words in str(result.exception)
    assert str(result.exception).count("\n") == 0


def test_help_explains_every_option_to_a_stranger() -> None:
    result = CliRunner().invoke(app, ["--help"], env={"COLUMNS": "200", "TERM": "dumb", "NO_COLOR": "1"})
    plain = " ".join(re.sub(r"\x1b\[[0-9;]*m", "", result.stdout).split())

    for word in (
        "--chart",
        "--lambda",
        "--head-start",
        "--shift",
        "false alarms",
        "Example: evenrun run-length",
    ):
        assert word in plain
