"""The example profiles on the real files they were written for."""

from __future__ import annotations

import csv
import os
from datetime import UTC, datetime
from pathlib import Path

import pytest

from collector.contract.mapping import ShotProfile
from collector.contract.messages import GaugingMessage
from collector.contract.refusal import Refusal
from collector.contract.shot import Shot
from collector.errors import UserError
from collector.sources import profiles
from collector.sources.csv_file import Import, Record, read

OUTSIDE = os.environ.get("EVENRUN_OUTSIDE")
REAL = Path(OUTSIDE or "") / "data/real-cap-run"
NOW = datetime(2026, 11, 24, tzinfo=UTC)
outside = pytest.mark.skipif(OUTSIDE is None, reason="EVENRUN_OUTSIDE is not set: no real files")


def records(file: str, profile: str) -> list[Record]:
    job = Import(site="lowland", now=NOW, received_at=NOW)
    return list(read(REAL / file, profiles.load(profile), job))


def gaugings(file: str, profile: str) -> list[GaugingMessage]:
    found = records(file, profile)
    assert not any(isinstance(record, Refusal) for record in found)
    return [record for record in found if isinstance(record, GaugingMessage)]


@pytest.fixture(scope="module")
def shots() -> list[Shot]:
    return [record for record in records("shots.csv", "cap-press") if isinstance(record, Shot)]


def test_every_profile_that_comes_along_is_valid() -> None:
    assert profiles.names() == ["cap-discs-by-counter", "cap-press", "cap-projector", "cap-weights"]
    for name in profiles.names():
        profiles.load(name)


def test_a_name_without_a_profile_lists_those_there_are() -> None:
    with pytest.raises(UserError, match="cap-press"):
        profiles.load("no-such")


ONE_VALUE = '''
kind = "shots"
press = "P1"
values = [{{key = "cushion", column = "c", factor = {factor}}}]
time = {{columns = ["t"], zone = "{zone}"}}
'''


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("kind = ", "TOML"),
        ('kind = "curves"', "kind"),
        ('kind = "shots"\npress = "P1"\nvalues = []\ntime = {columns = ["t"]}', "values"),
        (ONE_VALUE.format(factor="0", zone="UTC"), "the factor is 0"),
        (ONE_VALUE.format(factor="nan", zone="UTC"), "the factor is nan"),
        (ONE_VALUE.format(factor="2", zone="Mars/Base"), "no time zone is called 'Mars/Base'"),
    ],
)
def test_a_broken_profile_is_one_sentence(tmp_path: Path, text: str, word: str) -> None:
    path = tmp_path / "mine.toml"
    path.write_text(text)

    with pytest.raises(UserError, match=word):
        profiles.load(str(path))


@outside
def test_all_shots_of_the_real_file_are_read(shots: list[Shot]) -> None:
    assert [shot.counter for shot in shots] == list(range(251, 410))
    assert all(shot.time_reconstructed for shot in shots)
    assert not any(isinstance(record, Refusal) for record in records("shots.csv", "cap-press"))


@outside
def test_zeros_of_the_peak_field_are_not_written_and_nothing_else_is_lost(shots: list[Shot]) -> None:
    with (REAL / "shots.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    zeros = [float(row["p_inj_max_ist"]) == 0 for row in rows]

    assert [("peak_melt_pressure" in shot.not_written) for shot in shots] == zeros
    assert sum(zeros) / len(zeros) == pytest.approx(0.45, abs=0.01)  # as the data set's own notes have it
    for shot, row in zip(shots, rows, strict=True):
        assert shot.values["curve_peak_melt_pressure"] == pytest.approx(
            float(row["calc_peak_p_inj_bar"]) / 10
        )
        assert shot.originals["curve_peak_melt_pressure"][1] == "bar"


@outside
def test_the_setting_steps_are_there_beyond_the_tolerance_of_the_profile(shots: list[Shot]) -> None:
    # Steps of the switchover volume by cycle, from the data set's own notes.
    steps = {293: 13.55, 305: 13.45, 320: 13.40, 335: 13.20, 351: 13.80, 366: 13.50}
    profile = profiles.load("cap-press")
    assert isinstance(profile, ShotProfile)
    tolerance = profile.setpoint_tolerances()["switchover_volume"]

    found: dict[int | None, float] = {}
    last = shots[0].setpoints["switchover_volume"]
    for shot in shots:
        now = shot.setpoints["switchover_volume"]
        if abs(now - last) > tolerance:
            found[shot.counter] = now
            last = now
    assert found == {cycle: pytest.approx(volume, abs=1e-6) for cycle, volume in steps.items()}


@outside
def test_later_weights_and_dimensions_name_their_shot(shots: list[Shot]) -> None:
    found = gaugings("shots.csv", "cap-discs-by-counter")

    assert len(found) == 159 * 5
    assert {gauging.gauged_at for gauging in found} == {None}
    first = {gauging.characteristic: gauging.value for gauging in found if gauging.counter == 251}
    assert first == {
        "weight": 8.129,
        "inner_diameter": 29.817,
        "diameter": 45.915,
        "tab_width": 4.686,
        "roundness": 0.28,
    }


@outside
def test_the_projector_file_agrees_row_for_row_with_offset_zero() -> None:
    by_counter = {
        (gauging.counter, gauging.characteristic): gauging.value
        for gauging in gaugings("shots.csv", "cap-discs-by-counter")
    }
    by_order = gaugings("Messdaten_Strgrsn_Umschaltpunkt_WKZTemp.csv", "cap-projector")

    assert len(by_order) == 159 * 4
    for gauging in by_order:
        assert gauging.order_index is not None
        assert by_counter[251 + gauging.order_index, gauging.characteristic] == gauging.value
    assert by_order[0].gauged_at == datetime(2022, 5, 4, 13, 24, 9, tzinfo=UTC)


@outside
def test_the_weights_without_a_header_agree_row_for_row() -> None:
    by_counter = [
        g.value for g in gaugings("shots.csv", "cap-discs-by-counter") if g.characteristic == "weight"
    ]

    assert [g.value for g in gaugings("Gewicht_Strgrsn_Umschaltpkt_WKZTemp.csv", "cap-weights")] == by_counter
