"""The drawings: valid specifications, one path for many shots, and nothing a browser must fetch."""

from __future__ import annotations

import pandas as pd
import pytest

from dashboard.audit import figures
from dashboard.charts.audit_readings import audit_readings
from dashboard.charts.audit_track import Track, audit_track


@pytest.fixture
def track():
    n = 5000
    return Track(
        shots=pd.DataFrame({
            "at": range(n), "value": [20.0 if i < 10 else 31.0 + (i % 7) / 10 for i in range(n)],
            "phase": ["startup" if i < 10 else "charted" for i in range(n)],
            "signaled": [i in (4000, 4001) for i in range(n)],
        }),
        limits=pd.DataFrame(
            {"at": [10], "until": [n], "lower": [30.0], "upper": [33.0], "standing": ["provisional"]}
        ),
        levels=pd.DataFrame({"at": [10], "until": [n], "value": [31.3]}),
        holds=pd.DataFrame({"at": [3990], "until": [4010]}), changes=pd.DataFrame({"at": [3000]}),
    )  # fmt: skip


def test_the_specification_is_valid_and_names_the_unit(track):
    chart = audit_track(track, key="mold_core_temperature", unit="degC", domain=(0, 5000)).to_dict()
    axes = [layer["encoding"].get("y", {}).get("axis") or {} for layer in chart["layer"]]
    titles = {axis.get("title") for axis in axes}
    assert "Mold core temperature (°C)" in titles


def test_many_shots_stay_a_small_drawing_and_signals_are_all_there(track):
    drawn = figures.svg(audit_track(track, key="mold_core_temperature", unit="degC", domain=(0, 5000)))
    assert len(drawn) < 120_000
    assert drawn.count('fill="#f6b800"') == 2
    assert "http" not in drawn


def test_cold_startup_shots_do_not_press_the_others_into_a_line(track):
    chart = audit_track(track, key="mold_core_temperature", unit="degC", domain=(0, 5000)).to_dict()
    values = [row["value"] for rows in chart["datasets"].values() for row in rows if "value" in row]
    assert min(values) >= 30.0


def test_flagged_and_other_discs_differ_in_shape(track):
    discs = pd.DataFrame({"at": [1, 2, 3], "value": [2.5, 2.6, 3.1], "flagged": [False, False, True]})
    chart = audit_readings(
        discs, key="dome", unit="mm", domain=(0, 5), holds=track.holds, tolerance=(2.2, None)
    ).to_dict()
    shapes = {layer["mark"].get("shape") for layer in chart["layer"]}
    assert {"circle", "diamond"} <= shapes
