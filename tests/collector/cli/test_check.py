"""`evenrun check` against published examples, and what it answers to input it cannot use."""

import json
import re

import pytest
import typer
from typer.testing import CliRunner

from collector.cli.check import check
from collector.errors import UserError

# NIST/SEMATECH e-Handbook of Statistical Methods 6.3.2.2 and 6.3.2.3; Montgomery, Introduction to Statistical
# Quality Control (Wiley), CUSUM example. Recalled from memory; recomputing reproduces the printed results.
FLOW_RATE = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]
HANDBOOK_CUSUM = [
    *(324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600),
    *(324.625, 325.150, 328.325, 327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350),
]
TEXTBOOK = [
    *(9.45, 7.99, 9.29, 11.66, 12.16, 10.18, 8.04, 11.46, 9.20, 10.34),
    *(9.03, 11.47, 10.51, 9.40, 10.08, 9.37, 10.62, 10.31, 8.52, 10.84),
    *(10.90, 9.33, 12.29, 11.50, 10.60, 11.08, 10.38, 11.62, 11.31, 10.52),
]
GIVEN = ["--center", "10", "--sigma", "1"]


@pytest.fixture
def ask(tmp_path):
    """Run the command on a file of these cells in column `x`; return what it prints."""
    app = typer.Typer()
    app.command()(check)

    def run(cells, *options):
        file = tmp_path / "shots.csv"
        file.write_text("counter,x\n" + "".join(f"{i},{cell}\n" for i, cell in enumerate(cells)))
        result = CliRunner().invoke(app, [str(file), "--column", "x", *options])
        if result.exception and not isinstance(result.exception, SystemExit):
            raise result.exception
        assert result.exit_code == 0, result.output
        return result.output

    return run


def indices(output):
    return [signal["index"] for signal in json.loads(output)["signals"]]


def test_individuals_example_of_the_handbook(ask):
    answer = json.loads(ask(FLOW_RATE, "--baseline", "10", "--json"))
    assert list(answer) == ["center", "sigma", "lower", "upper", "signals"]
    assert answer["center"] == pytest.approx(50.81)
    # The print rounds d2 to 1.128; the exact one moves the limits by 0.0017.
    assert answer["lower"] == pytest.approx(45.8159, abs=0.002)
    assert answer["upper"] == pytest.approx(55.8041, abs=0.002)
    assert answer["signals"] == []


def test_skipped_rows_take_no_part_and_rows_keep_their_numbers(ask):
    answer = ask([900, 800, *FLOW_RATE, 99], "--skip", "2", "--baseline", "10", "--json")
    alone = ask([*FLOW_RATE, 99], "--baseline", "10", "--json")
    assert indices(answer) == [12]
    assert {**json.loads(answer), "signals": []} == {**json.loads(alone), "signals": []}


def test_cusum_example_of_the_handbook_keeps_signaling(ask):
    options = [
        "--chart",
        "cusum",
        "--center",
        "325",
        "--sigma",
        "0.635",
        "--k",
        "0.5",
        "--h",
        str(4.1959 / 0.635),
    ]
    answer = ask(HANDBOOK_CUSUM, *options, "--json")
    assert indices(answer) == list(range(13, 20))
    assert json.loads(answer)["upper"] == pytest.approx(6.608, abs=5e-4) == -json.loads(answer)["lower"]


def test_cusum_and_ewma_examples_of_the_textbook(ask):
    assert indices(ask(TEXTBOOK, "--chart", "cusum", *GIVEN, "--json")) == [28, 29]
    ewma = ask(TEXTBOOK, "--chart", "ewma", "--lambda", "0.1", "--width", "2.7", *GIVEN, "--json")
    assert indices(ewma) == [28, 29]
    assert json.loads(ewma)["upper"] == pytest.approx(10.61942, abs=5e-6)


def test_the_sums_of_a_cusum_are_not_capped(ask):
    # 30 values 3 sigma high leave a sum of 75; it is above 5 for 139 values at center after that.
    assert len(indices(ask([13] * 30 + [10] * 200, "--chart", "cusum", *GIVEN, "--json"))) == 28 + 139


def test_rules_means_exactly_the_rules_named(ask):
    cells = [10.1] * 9 + [20]
    assert json.loads(ask(cells, *GIVEN, "--json"))["signals"] == [{"index": 9, "rule": "beyond_limit"}]
    named = json.loads(ask(cells, *GIVEN, "--rules", "same_side, two_of_three", "--json"))["signals"]
    assert named == [{"index": 8, "rule": "same_side"}, {"index": 9, "rule": "same_side"}]


def test_the_width_moves_the_limits(ask):
    cells = [10, 12.5, 14.5]
    assert indices(ask(cells, *GIVEN, "--width", "2", "--json")) == [1, 2]
    assert indices(ask(cells, *GIVEN, "--width", "4", "--json")) == [2]


def test_an_empty_cell_keeps_its_row_and_breaks_a_run(ask):
    cells = [10.1] * 5 + [""] + [10.1] * 9
    assert indices(ask(cells, *GIVEN, "--rules", "same_side", "--json")) == [14]


def test_an_empty_line_is_a_missing_value_too(tmp_path):
    file = tmp_path / "one_column.csv"
    file.write_text("\ufeffx\n1\n\n30\n", encoding="utf-8")
    app = typer.Typer()
    app.command()(check)
    result = CliRunner().invoke(app, [str(file), "--column", "x", *GIVEN, "--json"])
    assert indices(result.output) == [0, 2]


def test_the_baseline_counts_values_that_are_there(ask):
    answer = json.loads(ask([1, "", 2, 4, 100], "--baseline", "3", "--json"))
    assert answer["center"] == pytest.approx(7 / 3)
    assert answer["sigma"] == pytest.approx(2 * 3.141592653589793**0.5 / 2)
    assert [signal["index"] for signal in answer["signals"]] == [4]


def test_the_table_says_what_was_seen(ask):
    output = ask([10, 14], *GIVEN)
    assert "center 10, sigma 1" in output
    assert "Limits 7 and 13" in output
    assert "more than 3 sigma" in output
    assert "None of 2 values signals; farthest from the center is row 1" in ask([10, 11], *GIVEN)


def test_large_values_are_printed_without_exponents(ask):
    printed = ask([6_000_000 + step for step in (0, 1_000, -1_000, 500, 90_000)], "--baseline", "4")
    assert "e+" not in printed
    assert "farthest from the center is row 4, plotted at 6,090,000." in printed


def test_the_table_stops_and_says_how_many_more(ask):
    assert "10 more signals; --json lists all of them." in ask([20] * 60, *GIVEN)


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ([], "give --center and --sigma, or --baseline N"),
        (["--center", "10"], "give --center and --sigma, or --baseline N"),
        (["--baseline", "5", *GIVEN], "not both"),
        (["--baseline", "11"], "more than the 10 values there are; give fewer"),
        (["--baseline", "1"], "give --baseline 2 or more"),
        ([*GIVEN, "--k", "0.5"], "--k has no meaning for a chart of kind individuals; .* use --chart cusum"),
        ([*GIVEN, "--chart", "ewma", "--h", "5"], "--h has no meaning .* use --chart cusum"),
        ([*GIVEN, "--chart", "cusum", "--width", "3"], "--width has no meaning .* individuals or ewma"),
        ([*GIVEN, "--lambda", "0.2"], "--lambda has no meaning .* use --chart ewma"),
        ([*GIVEN, "--rules", "trand"], "'trand' is unknown; the rules are beyond_limit, same_side"),
        ([*GIVEN, "--rules", ","], "--rules names no rule"),
        ([*GIVEN, "--chart", "cusum", "--rules", "trend"], "knows only beyond_limit; leave --rules out"),
        (["--center", "10", "--sigma", "0"], "sigma .* give a number above zero"),
        ([*GIVEN, "--chart", "ewma", "--lambda", "2"], "give a weight above 0, at most 1"),
    ],
)
def test_options_that_make_no_chart_are_answered_with_the_remedy(ask, options, said):
    with pytest.raises(UserError, match=said):
        ask(FLOW_RATE, *options)


@pytest.mark.parametrize("cell", ["3.1.4", "12 mm", "inf", "--"])
def test_a_cell_that_is_no_number_names_its_line(ask, cell):
    with pytest.raises(UserError, match=r"line 4 of .*shots.csv holds '.*'; write a number"):
        ask([1, 2, cell, 4], *GIVEN)


def test_a_baseline_without_spread_is_answered_with_the_remedy(ask):
    with pytest.raises(UserError, match="all equal; give --center and --sigma, or a longer baseline"):
        ask([5, 5, 5, 6], "--baseline", "3")
    with pytest.raises(UserError, match="no neighbors; give --center and --sigma"):
        ask([5, "", 6], "--baseline", "2")


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (None, "there is no file .*; check the path"),
        (b"", "has no header line; write the names"),
        (b"counter,y\n1,2\n", "has no column 'x'; it has counter, y"),
        (b"counter,x\n1,2\n1,2,3\n", "line 3 of .* has 3 cells and its header 2; mend the line"),
        (b"counter;x\n1;2\n", "has no column 'x'; it has counter;x"),
        (b"counter,x\n1,\xff\n", "is not text in UTF-8"),
    ],
)
def test_a_file_that_cannot_be_used_is_answered_with_the_remedy(tmp_path, content, said):
    file = tmp_path / "shots.csv"
    if content is not None:
        file.write_bytes(content)
    app = typer.Typer()
    app.command()(check)
    result = CliRunner().invoke(app, [str(file), "--column", "x", *GIVEN])
    assert isinstance(result.exception, UserError)
    assert re.search(said, str(result.exception))
    assert "\n" not in str(result.exception)
