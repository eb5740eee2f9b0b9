"""`evenrun budget` prints a plan that keeps to the budget, with its cost, and refuses what it cannot plan."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest
import typer
from typer.testing import CliRunner

from collector.cli import budget_floor
from collector.cli.budget import budget
from collector.errors import UserError

app = typer.Typer()
app.command()(budget)


@pytest.fixture(autouse=True)
def no_settings_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The settings are the defaults unless a test writes a file."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("EVENRUN_SETTINGS", raising=False)


def _said(*options: str) -> str:
    result = CliRunner().invoke(app, [*options], catch_exceptions=False)
    assert result.exit_code == 0, result.output
    return str(result.stdout)


def _json(*options: str) -> dict[str, Any]:
    parsed = json.loads(_said(*options, "--json"))
    assert isinstance(parsed, dict)
    return parsed


def test_ten_equal_characteristics_are_planned_and_held_against_textbook_charts() -> None:
    """Three-sigma limits: 14,400 values a day over 370.40 (Champ and Woodall 1987) is 38.9 false alarms."""
    answer = _json("--characteristics", "10")

    assert answer["false_alarms_per_day"] == pytest.approx(1.0, rel=2e-3)
    assert answer["false_alarms_per_shift"] == pytest.approx(1 / 3, rel=2e-3)
    assert len(answer["characteristics"]) == 10
    first = answer["characteristics"][0]
    assert [chart["chart"] for chart in first["charts"]] == ["individuals", "cusum"]
    assert first["standing"] == "known"
    assert list(first["delay"]) == ["0.5", "1", "2", "3"]
    plain, eight = answer["classic"]
    assert plain["false_alarms_per_day"] == pytest.approx(14_400 / 370.398, rel=1e-4)
    assert plain["longest_delay_of_1_sigma"] == pytest.approx(43.895, abs=0.001)
    assert eight["false_alarms_per_day"] > 4 * plain["false_alarms_per_day"]


def test_what_is_known_of_each_characteristic_decides_its_charts() -> None:
    answer = _json(
        "--characteristic", "cushion,phi=0.5,n=300",
        "--characteristic", "weight,sigma=0.1,minimum_shift=0.12",
        "--characteristic", "noise,vital=no",
        "--characteristic", "pressure,share=0.5",
        "--false-alarms", "2", "--cycle-time", "30",
    )  # fmt: skip

    rows = {row["name"]: row for row in answer["characteristics"]}
    assert answer["false_alarms_per_day"] == pytest.approx(2.0, rel=5e-3)
    assert rows["pressure"]["false_alarms_per_day"] == pytest.approx(1.0, rel=5e-3)
    assert rows["cushion"]["standing"] == "usable"
    assert rows["weight"]["charts"][1]["k"] == pytest.approx(1.2)
    assert rows["weight"]["delay"]["0.5"] > rows["pressure"]["delay"]["0.5"]
    assert [chart["chart"] for chart in rows["noise"]["charts"]] == ["individuals"]


def test_the_floor_is_that_of_the_settings_unless_told_otherwise(tmp_path: Path) -> None:
    (tmp_path / "evenrun.toml").write_text(
        '[charts]\nfalse_alarms_per_day = 3\nvital = ["cushion", "hold_time", "mold_core_temperature"]\n'
        'also = ["torque"]\n'
    )

    answer = _json()
    told = " ".join(_said("--characteristic", "mold_core_temperature").split())

    assert [row["name"] for row in answer["characteristics"]] == [
        "cushion",
        "mold_core_temperature",
        "torque",
    ]
    assert answer["false_alarms_per_day"] == pytest.approx(3.0, rel=2e-3)
    assert "minimum shift of mold_core_temperature (0.5) is not counted; give its sigma" in told


def test_the_table_names_every_characteristic_with_its_delays() -> None:
    told = _said("--characteristic", "torque", "--characteristic", "cushion", "--baseline", "1000")

    for name in ("torque", "cushion"):
        assert re.search(rf"(?i){name} .*\bfirm\b", told)
    assert "the press" in told
    assert "all eight run rules" in told


def test_a_delay_beyond_computing_is_null_in_json() -> None:
    answer = _json("--characteristic", "a,sigma=1,minimum_shift=12", "--characteristic", "b,vital=no")

    assert answer["characteristics"][0]["delay"]["0.5"] is None
    assert answer["false_alarms_per_day"] < 0.3


def test_the_shots_of_a_baseline_decide_how_fine_phi_is_taken() -> None:
    floor = budget_floor.equal(1, budget_floor.Defaults(phi=0.83, baseline=40))

    assert floor[0].characteristic.phi == pytest.approx(0.85)


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--characteristics", "0"], "0 characteristics"),
        (["--characteristics", "2", "--characteristic", "a"], "either --characteristics or --characteristic"),
        (["--phi", "1"], "--phi 1.0 is no autocorrelation"),
        (["--baseline", "3"], "baseline of 3 shots"),
        (["--false-alarms", "-1"], "budget of -1.0 false alarms"),
        (["--cycle-time", "0"], "cycle of 0.0 s"),
        (["--characteristics", "1", "--false-alarms", "500"], "every 2.88 shots"),
        (["--characteristic", "phi=0.3"], "begins with no name"),
        (["--characteristic", "a,phi=2"], "a has phi=2; give an autocorrelation"),
        (["--characteristic", "a,phi=much"], "a has phi=much"),
        (["--characteristic", "a,color=red"], "after the name it takes phi, n, sigma"),
        (["--characteristic", "a,vital=maybe"], "give yes or no"),
        (["--characteristic", "a,minimum_shift=1"], "give its sigma"),
        (["--characteristic", "a,sigma=0"], "a standard deviation above 0"),
        (["--characteristic", "a,share=2"], "a part of the budget"),
        (["--characteristic", "a", "--characteristic", "a"], "called a"),
    ],
)
def test_what_cannot_be_planned_is_refused_in_one_sentence(options: list[str], words: str) -> None:
    with pytest.raises(UserError, match=words):
        CliRunner().invoke(app, options, catch_exceptions=False)
