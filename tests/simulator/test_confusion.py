"""The confusion of causes, counted from known instances, and one instance through the real service."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from rich.console import Console

from collector.alarms.fault_table import FAULTS as TABLE
from simulator import confusion
from simulator.confusion_figures import NOTHING, Named, figures, matrix
from simulator.confusion_table import show
from simulator.faults import FAULTS
from simulator.score_alarms import Call, Raised
from simulator.score_truth import Matter


def named(fault: str, *causes: int, alarm: str | None = "process", of_messages: bool = False) -> Named:
    return Named(
        fault=fault, seed=1, row=FAULTS[fault].row, shown=True, touched=True, alarm=alarm, causes=causes,
        of_messages=of_messages,
    )  # fmt: skip


FOUND = [
    named("blocked_coolant", 11, 13),  # first
    named("blocked_coolant_core", 12, 13, 25),  # only by its group
    named("wet_resin", 9, 3),  # second
    named("weak_hydraulics", 1, 2, 3, 21),  # fourth
    named("leaking_nozzle", alarm=None),
    named("stuck_sensor", 27, alarm="data"),
    named("wrong_unit", 1, 2, alarm="process"),
    named("lost_messages", 1, alarm="process", of_messages=True),
]


def test_shares_are_of_the_alarmed_and_groups_count_where_they_are_asked_for() -> None:
    found = figures(FOUND)
    assert (found["first"].value, found["first"].n) == (0.25, 4)
    assert found["first_or_group"].value == 0.75
    assert found["first_three"].value == 0.5
    assert found["first_three_or_group"].value == 0.75
    assert (found["data_apart"].value, found["apart"].n) == (0.5, 6)
    assert found["process_alarmed"].value == 0.8


def test_the_matrix_has_a_line_for_every_true_row_and_counts_what_named_nothing() -> None:
    counted = matrix(FOUND)
    assert counted[11] == {11: 1, 12: 1}
    assert counted[7] == {NOTHING: 1}
    assert sum(counted[27].values()) == 2  # faults of messages are told apart by their events


def test_every_fault_of_the_simulator_has_its_row_in_the_fault_table() -> None:
    assert {fault.row for fault in FAULTS.values()} == {fault.row for fault in TABLE}


def test_the_first_alarm_at_a_touched_shot_is_the_one_that_counts() -> None:
    def raised(*shots: int, press: str = "P1") -> Raised:
        calls = tuple(Call(shot, frozenset({"cushion"})) for shot in shots)
        return Raised(press=press, kind="process", calls=calls, charts=(), low=0, first=0, high=0, held=None,
                      headline=f"{press} {shots}")  # fmt: skip

    matter = Matter(
        fault="f", press="P1", growth="step", variant="", first=100, last=200, out=0, first_out=None,
        gauged_first=None, shown_by={}, of_messages=False,
    )  # fmt: skip
    early, other, grown = raised(50), raised(101, press="P2"), raised(60, 120)
    assert confusion.alarm_of(matter, [early, other, grown, raised(130)]) is grown
    assert confusion.alarm_of(matter, [early, other, raised(300)]) is None


def test_the_table_names_groups_and_what_is_missed() -> None:
    console = Console(width=150, record=True, quiet=False)
    show(console, FOUND)
    text = console.export_text()
    assert "Telemetry does not tell apart rows 11, 12, 13, 25" in text
    assert "MISSED" in text
    assert "alarms meanwhile process: 1" in text


def test_a_wrong_unit_is_named_as_a_matter_of_the_data(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    with pytest.raises(SystemExit) as ended:
        confusion.main(
            ["--fault", "wrong_unit", "--seeds", "1", "--shots", "220", "--jobs", "1", "--json", "out.json"]
        )

    assert ended.value.code == 0
    told = json.loads((tmp_path / "out.json").read_text(encoding="utf-8"))
    assert told["figures"]["data_apart"]["value"] == 1.0
    assert told["instances"][0]["alarm"] == "data"


def test_a_fault_that_there_is_not_ends_in_one_sentence(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        confusion.main(["--fault", "gremlins"])

    assert "there is no fault 'gremlins'; take one of lot_change" in capsys.readouterr().err
