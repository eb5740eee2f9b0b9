"""`evenrun simulate` as a person calls it."""

import csv
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from collector.cli import main


def run(*words: str) -> int:
    """Exit code of the command."""
    with pytest.raises(SystemExit) as left:
        main(["simulate", *words])
    return int(left.value.code or 0)


def rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_a_file_gets_one_row_a_shot_in_canonical_units(tmp_path: Path) -> None:
    out = tmp_path / "shots.csv"
    assert run("--presses", "2", "--shots", "30", "--out", str(out)) == 0
    made = rows(out)
    assert len(made) == 60
    assert {row["press"] for row in made} == {"P1", "P2"}
    assert 55 < float(made[-1]["cycle_time"]) < 75
    assert 50 < float(made[-1]["peak_melt_pressure"]) < 95
    assert float(made[-1]["setpoint.cooling_time"]) == 39
    assert not any(name.startswith("truth.") for name in made[0])


def test_the_same_seed_writes_the_same_file(tmp_path: Path) -> None:
    one, two, three = (tmp_path / name for name in ("1.csv", "2.csv", "3.csv"))
    for path, seed in ((one, "5"), (two, "5"), (three, "6")):
        run("--shots", "40", "--seed", seed, "--out", str(path))
    assert one.read_bytes() == two.read_bytes() != three.read_bytes()


def test_a_parquet_file_holds_what_the_csv_file_holds(tmp_path: Path) -> None:
    as_csv, parquet, again = (tmp_path / name for name in ("1.csv", "1.parquet", "2.parquet"))
    for path in (as_csv, parquet, again):
        run("--presses", "2", "--shots", "30", "--truth", "--out", str(path))
    assert parquet.read_bytes() == again.read_bytes()
    table, read = pd.read_parquet(parquet), pd.read_csv(as_csv, parse_dates=["ended_at"])
    assert list(table.columns) == list(read.columns)
    numbers = table.select_dtypes("number").columns
    assert len(numbers) > 30
    np.testing.assert_array_equal(table[numbers].to_numpy(float), read[numbers].to_numpy(float))
    assert (abs(table["ended_at"] - read["ended_at"]) < pd.Timedelta("1ms")).all()


def test_a_fault_shows_in_the_shots_and_in_the_truth(tmp_path: Path) -> None:
    out = tmp_path / "shots.csv"
    run("--shots", "160", "--fault", "worn_check_ring", "--fault-at-shot", "80", "--truth", "--out", str(out))
    made = rows(out)
    assert made[0]["truth.faults"] == ""
    assert "worn_check_ring" in made[-1]["truth.faults"]
    assert float(made[-1]["cushion"]) < float(made[70]["cushion"]) - 1.0


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        ((), "either --out FILE or --broker HOST:PORT"),
        (("--out", "x.xlsx"), "says no form that can be written; let its name end in .csv or .parquet"),
        (("--out", "/etc/hosts.csv/../hosts"), "says no form that can be written"),
        (("--shots", "40", "--fault-at-shot", "40", "--out", "x.csv"), "past the last shot"),
        (("--out", "x.csv", "--broker", "localhost:1883"), "either --out FILE or --broker HOST:PORT"),
        (("--fault", "gremlins", "--out", "x.csv"), "there is no fault 'gremlins'; --fault takes one of"),
        (("--start", "yesterday", "--out", "x.csv"), "--start 'yesterday' is no date and time"),
        (("--start", "2026-11-16T06:00:00", "--out", "x.csv"), "has no time zone"),
        (("--broker", "localhost"), "write it as HOST:PORT"),
        (("--broker", "127.0.0.1:1"), "cannot be reached"),
        (("--broker", "127.0.0.1:1883", "--password-file", "/nowhere"), "cannot be read"),
        (("--out", "/nowhere/x.csv"), "give another file with --out"),
    ],
)
def test_a_mistake_is_answered_in_one_sentence(words, sentence, capsys, monkeypatch, tmp_path) -> None:
    monkeypatch.chdir(tmp_path)
    assert run(*words) == 2
    error = capsys.readouterr().err
    assert sentence in error
    assert error.startswith("evenrun: ")
    assert error.count("\n") == 1
    assert not list(tmp_path.iterdir())


def test_help_names_every_fault(capsys) -> None:
    assert run("--help") == 0
    text = capsys.readouterr().out
    for word in ("worn_check_ring", "--broker", "--speed", "--seed"):
        assert word in text


def test_a_file_that_is_there_is_not_written_over_unasked(capsys, tmp_path) -> None:
    out = tmp_path / "shots.csv"
    out.write_text("mine")

    assert run("--shots", "30", "--out", str(out)) == 2
    assert "is there already" in capsys.readouterr().err
    assert out.read_text() == "mine"

    assert run("--shots", "30", "--out", str(out), "--replace") == 0
    assert len(rows(out)) == 30
