"""Chart functions: what they draw, without Streamlit."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest

from dashboard.charts.characteristic import axis_title, characteristic
from dashboard.charts.cumulative import cumulative
from dashboard.charts.events import events, labels
from dashboard.charts.palette import ACT, DOT, EDGE, LINE, SIGNAL
from dashboard.charts.thinning import thin
from dashboard.charts.time_axis import shop_time, shop_times

START = pd.Timestamp("2026-03-03 12:00", tz="UTC")
BOUNDS = (START, START + pd.Timedelta(hours=2))
NOTHING = pd.DataFrame(columns=["at", "until", "value"])
NO_LIMITS = pd.DataFrame(columns=["at", "until", "lower", "center", "upper", "standing"])


def shots(count: int = 60) -> pd.DataFrame:
    at = START + pd.to_timedelta(np.arange(count), unit="min")
    frame = pd.DataFrame({"id": np.arange(count), "at": at, "value": 6.0 + np.sin(np.arange(count))})
    frame["phase"] = np.where(frame["id"] < 5, "startup", "charted")
    frame["signal"] = np.where(frame["id"] == 40, "beyond its limit", "")
    frame["label"] = "shot"
    return frame


def limits(*standing: str) -> pd.DataFrame:
    rows = [
        {
            "at": START + pd.Timedelta(minutes=30 * index), "until": BOUNDS[1],
            "lower": 4.0, "center": 6.0, "upper": 8.0, "standing": each,
        }
        for index, each in enumerate(standing)
    ]  # fmt: skip
    return pd.DataFrame(rows)


def drawn(**changes: Any) -> dict[str, Any]:
    arguments: dict[str, Any] = {
        "key": "cushion", "bounds": BOUNDS, "limits": NO_LIMITS, "setpoints": NOTHING, "holds": NOTHING,
    }  # fmt: skip
    spec: dict[str, Any] = characteristic(shots(), **(arguments | changes)).to_dict()
    return spec


def rows_of(spec: dict[str, Any], layer: dict[str, Any]) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = spec["datasets"][layer["data"]["name"]]
    return found


def layers(spec: dict[str, Any], **mark: Any) -> list[dict[str, Any]]:
    return [
        layer for layer in spec["layer"]
        if all(layer["mark"].get(name) == value for name, value in mark.items())
    ]  # fmt: skip


def test_the_axis_title_names_the_quantity_with_its_unit() -> None:
    titles = {layer["encoding"]["y"].get("axis", {}).get("title") for layer in drawn()["layer"]}
    assert "Cushion (mm)" in titles
    assert axis_title("barrel_temperature.2") == "Barrel temperature, zone 2 (°C)"
    assert axis_title("oil_level", "percent") == "Oil level (%)"


def test_a_signal_is_a_yellow_diamond_with_a_dark_edge_and_is_not_also_a_dot() -> None:
    spec = drawn()
    (diamond,) = layers(spec, shape="diamond")
    assert (diamond["mark"]["fill"], diamond["mark"]["stroke"]) == (SIGNAL, EDGE)
    assert [row["id"] for row in rows_of(spec, diamond)] == [40]
    (dots,) = layers(spec, type="circle")
    assert 40 not in {row["id"] for row in rows_of(spec, dots)}


def test_startup_shots_are_rings() -> None:
    spec = drawn()
    (rings,) = [layer for layer in layers(spec, type="point", color=DOT) if "shape" not in layer["mark"]]
    assert {row["id"] for row in rows_of(spec, rings)} == {0, 1, 2, 3, 4}


def test_a_click_chooses_the_nearest_shot_by_its_id() -> None:
    (chosen,) = [each for each in drawn()["params"] if each["name"] == "shot"]
    assert chosen["select"]["fields"] == ["id"]
    assert chosen["select"]["nearest"] is True


def test_provisional_limits_are_dashed_otherwise_and_say_so() -> None:
    spec = drawn(limits=limits("provisional"))
    (label,) = layers(spec, type="text")
    assert [row["word"] for row in rows_of(spec, label)] == ["provisional limit"]
    (lines,) = [layer for layer in layers(spec, type="rule") if "strokeDash" in layer["encoding"]]
    assert all("provisional" in row["words"] for row in rows_of(spec, lines))
    condition = lines["encoding"]["strokeDash"]["condition"]
    assert condition["value"] != lines["encoding"]["strokeDash"]["value"]


def test_versions_of_limits_are_separate_lines() -> None:
    spec = drawn(limits=limits("provisional", "firm"))
    (lines,) = [layer for layer in layers(spec, type="rule") if "strokeDash" in layer["encoding"]]
    assert len(rows_of(spec, lines)) == 4  # two versions, lower and upper


def test_a_hold_is_a_blue_band_and_a_setpoint_a_step_with_its_value() -> None:
    stretch = pd.DataFrame({"at": [START], "until": [BOUNDS[1]], "value": [36.0]})
    spec = drawn(key="cooling_time", holds=stretch, setpoints=stretch)
    assert layers(spec, type="rect", color=ACT)
    assert layers(spec, type="rule", color=ACT)
    words = [row.get("words") for layer in layers(spec, type="text") for row in rows_of(spec, layer)]
    assert words == ["setpoint 36.00 s"]


def test_limits_without_lines_leave_the_center_alone() -> None:
    only = limits("firm").assign(lower=float("nan"), upper=float("nan"))
    spec = drawn(key="cooling_time", limits=only)
    texts = [str(layer["encoding"].get("text", "")) for layer in spec["layer"]]
    assert not any("word:N" in text or "'word'" in text for text in texts)
    assert len(layers(spec, type="rule")) < len(layers(drawn(limits=limits("firm")), type="rule"))


def test_an_axis_on_which_nothing_moves_says_its_value_without_a_tail_of_zeros() -> None:
    frame = shots().assign(value=10.0)
    spec = characteristic(
        frame, key="hold_time", bounds=BOUNDS, limits=NO_LIMITS, setpoints=NOTHING, holds=NOTHING
    ).to_dict()
    assert {layer["encoding"]["y"]["axis"]["format"] for layer in layers(spec, type="circle")} == {".6~g"}
    (moving,) = layers(drawn(), type="circle")
    assert "format" not in moving["encoding"]["y"]["axis"]


def test_the_word_beside_a_limit_is_under_its_line_where_shots_lie_above() -> None:
    """On diamonds it could not be read."""
    frame = shots(120)
    above = frame.assign(value=np.where(frame["id"] > 110, 9.0, frame["value"]))
    earlier = frame.assign(value=np.where(frame["id"] < 60, 9.0, frame["value"]))
    sides = []
    for each in (frame, above, earlier):
        spec = characteristic(
            each, key="cushion", bounds=BOUNDS, limits=limits("firm"), setpoints=NOTHING, holds=NOTHING
        ).to_dict()
        (word,) = layers(spec, type="text")
        sides.append(word["mark"]["baseline"])
    assert sides == ["bottom", "top", "bottom"]


def test_the_cumulative_chart_draws_its_limit_at_one_and_breaks_where_it_began_anew() -> None:
    frame = shots().assign(share=np.linspace(0, 1.4, 60), piece=np.repeat([1, 2], 30))
    spec = cumulative(frame, bounds=BOUNDS).to_dict()
    limit, line, over = spec["layer"]
    assert rows_of(spec, limit) == [{"value": 1.0}]
    assert line["encoding"]["detail"]["field"] == "piece"
    assert all(row["share"] > 1 for row in rows_of(spec, over))
    assert "cumulative" in line["encoding"]["y"]["axis"]["title"]


def test_far_above_its_limit_the_cumulative_chart_names_the_limit_alone() -> None:
    """The name of zero would lie on that of one, which is the line to look for."""
    named = []
    for most in (1.4, 3.0):
        frame = shots().assign(share=np.linspace(0, most, 60), piece=1)
        line = cumulative(frame, bounds=BOUNDS).to_dict()["layer"][1]
        named.append(line["encoding"]["y"]["axis"]["values"])
    assert named == [[0, 1], [1]]


def test_every_event_is_a_mark_with_words() -> None:
    frame = pd.DataFrame(
        {"at": [START, START], "kind": ["lot", "setpoint"], "words": ["7689 → 7702", "a → b"]}
    )
    spec = events(frame, bounds=BOUNDS).to_dict()
    assert [row["words"] for row in rows_of(spec, spec["layer"][1])] == ["7689 → 7702", "a → b"]


def test_labels_of_events_close_in_time_do_not_run_into_one_another() -> None:
    minutes = (0, 1, 60, 61, 62)
    words = ("R-0412", "R-0413", "a word of the longest kind there is", "R-0415", "")
    frame = pd.DataFrame(
        {"at": [START + pd.Timedelta(minutes=m) for m in minutes], "kind": "run", "words": words}
    )
    shown = labels(frame, bounds=(START, START + pd.Timedelta(hours=2)))
    assert list(shown["words"]) == ["R-0412, R-0413", "a word of the longest kind there is, R-0415"]
    # Beside the last mark of the group, so that no mark stands in the words.
    assert list(shown["at"]) == [START + pd.Timedelta(minutes=m) for m in (1, 62)]


def test_labels_of_events_say_how_many_more_there_are() -> None:
    at = [START + pd.Timedelta(seconds=second) for second in range(4)]
    words = [f"Cushion {n}: usable limits" for n in range(4)]
    frame = pd.DataFrame({"at": at, "kind": "limits", "words": words})
    assert list(labels(frame, bounds=BOUNDS)["words"]) == ["Cushion 0: usable limits, 3 more"]


def test_a_label_at_the_end_of_the_axis_stands_left_of_its_mark_and_never_outside_the_plot() -> None:
    at = [START + pd.Timedelta(minutes=60), BOUNDS[1] - pd.Timedelta(minutes=2)]
    frame = pd.DataFrame({"at": at, "kind": "stop", "words": ["12 min without a shot", "alarm 34 closed"]})
    shown = labels(frame, bounds=BOUNDS)
    assert list(shown["side"]) == ["right", "left"]
    # Text outside would make the plot narrower than the plots below, and equal times would not line up.
    texts = layers(events(frame, bounds=BOUNDS).to_dict(), type="text")
    assert [layer["mark"]["clip"] for layer in texts] == [True, True]


def test_thinning_keeps_extremes_signals_and_order() -> None:
    rng = np.random.default_rng(4)
    frame = pd.DataFrame({"value": rng.standard_normal(50_000)})
    frame.loc[[7, 31_000], "value"] = [40.0, -40.0]
    frame.loc[100, "value"] = np.nan
    keep = frame.index == 25_001
    kept = thin(frame, "value", keep=pd.Series(keep, index=frame.index), most=1_000)
    assert {7, 31_000, 25_001} <= set(kept.index)
    assert len(kept) <= 1_001
    assert kept.index.is_monotonic_increasing
    assert kept["value"].notna().all()


def test_a_short_frame_stays_whole() -> None:
    frame = pd.DataFrame({"value": [1.0, 2.0, 3.0]})
    assert thin(frame, "value").equals(frame)


def test_shop_times_read_as_the_clock_on_the_wall_there() -> None:
    berlin = ZoneInfo("Europe/Berlin")
    summer = datetime(2026, 7, 1, 12, 0, tzinfo=UTC)
    assert shop_time(summer, berlin).isoformat() == "2026-07-01T14:00:00+00:00"
    many = shop_times(pd.Series([summer, summer + timedelta(days=180)]), berlin)
    assert list(many.dt.hour) == [14, 13]


def luminance(color: str) -> float:
    channels = [int(color[index : index + 2], 16) / 255 for index in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return float(np.dot(linear, [0.2126, 0.7152, 0.0722]))


def contrast(one: str, other: str) -> float:
    low, high = sorted([luminance(one), luminance(other)])
    return (high + 0.05) / (low + 0.05)


def test_the_contrast_measure_is_that_of_the_guideline() -> None:
    """WCAG 2.2, contrast ratio: 21 for black on white, 4.54 for #767676 (figures from memory)."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.005)


@pytest.mark.parametrize("page", ["#f6f7f8", "#121519"])
@pytest.mark.parametrize("mark", [DOT, LINE, ACT])
def test_marks_stand_out_on_the_light_and_on_the_dark_page(mark: str, page: str) -> None:
    """WCAG 2.2, 1.4.11: graphics 3 to 1 (from memory)."""
    assert contrast(mark, page) >= 3
