"""CSV import: each bad row by name, and the file goes on."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from pydantic import TypeAdapter, ValidationError

from collector.contract.mapping import AnyProfile, GaugingProfile, ShotProfile
from collector.contract.messages import GaugingMessage, RunMessage
from collector.contract.policy import Policy
from collector.contract.refusal import Refusal
from collector.contract.shot import Shot
from collector.errors import UserError
from collector.sources.csv_file import Import, Record, read

NOW = datetime(2026, 11, 24, 12, 0, tzinfo=UTC)
SHOTS: dict[str, Any] = {
    "kind": "shots",
    "press": "P1",
    "counter_column": "count",
    "time": {"columns": ["time"]},
    "values": [
        {"key": "injection_time", "column": "fill", "unit": "ms"},
        {"key": "peak_melt_pressure", "column": "peak", "unit": "bar", "zero_means_not_written": True},
    ],
    "setpoints": [{"key": "hold_pressure", "column": "hold", "unit": "bar", "tolerance": 0.5}],
}
HEADER = "count,time,fill,peak,hold\n"
GOOD = "1,2026-11-24T10:00:00Z,2410,742,410\n"
GAUGINGS: dict[str, Any] = {
    "kind": "gaugings",
    "link": "tray",
    "tray_column": "tray",
    "position_column": "place",
    "time": {"columns": ["date", "clock"], "order": "day-first", "zone": "Europe/Berlin"},
    "characteristics": [
        {"key": "dome", "column": "dome_in", "unit": "in"},
        {"key": "weight", "column": "weight"},
    ],
}


def profile(base: dict[str, Any], **changes: Any) -> ShotProfile | GaugingProfile:
    adapter: TypeAdapter[ShotProfile | GaugingProfile] = TypeAdapter(AnyProfile)
    return adapter.validate_python({**base, **changes})


def imported(
    folder: Path, content: str | bytes, base: dict[str, Any] = SHOTS, **changes: Any
) -> list[Record]:
    path = folder / "press.csv"
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    job = {key: changes.pop(key) for key in ("run", "policy") if key in changes}
    mapping = profile(base, **changes)
    return list(read(path, mapping, Import(site="lowland", now=NOW, received_at=NOW, **job)))


def shots(records: list[Record]) -> list[Shot]:
    return [record for record in records if isinstance(record, Shot)]


def refusals(records: list[Record]) -> list[Refusal]:
    return [record for record in records if isinstance(record, Refusal)]


def test_a_row_becomes_a_shot_in_canonical_units(tmp_path: Path) -> None:
    (shot,) = shots(imported(tmp_path, HEADER + GOOD))

    assert shot.values == {"injection_time": pytest.approx(2.41), "peak_melt_pressure": pytest.approx(74.2)}
    assert shot.originals == {"injection_time": (2410.0, "ms"), "peak_melt_pressure": (742.0, "bar")}
    assert (shot.counter, shot.press, shot.site, shot.source) == (1, "P1", "lowland", "press.csv")
    assert shot.ended_at == datetime(2026, 11, 24, 10, 0, tzinfo=UTC)
    assert shot.setpoints == {"hold_pressure": pytest.approx(41.0)}
    assert not shot.time_reconstructed


def test_a_zero_is_missing_only_where_the_profile_says_so(tmp_path: Path) -> None:
    (shot,) = shots(imported(tmp_path, HEADER + "1,2026-11-24T10:00:00Z,0,0,0\n"))

    assert shot.values == {"injection_time": 0.0}
    assert shot.not_written == ("peak_melt_pressure",)
    assert shot.setpoints == {"hold_pressure": 0.0}


def test_an_empty_cell_is_not_written(tmp_path: Path) -> None:
    (shot,) = shots(imported(tmp_path, HEADER + "1,2026-11-24T10:00:00Z,,742,410\n"))

    assert shot.not_written == ("injection_time",)


ROWS = {
    "1,2026-11-24T10:00:00Z,2410,742": ("ragged_row", "4 cells where the file has 5 columns"),
    "1,2026-11-24T10:00:00Z,2410,742,410,7": ("ragged_row", "6 cells"),
    '1,2026-11-24T10:00:00Z,"2410,5",742,410': ("wrong_decimal_mark", "'fill' holds '2410,5'"),
    "1,2026-11-24T10:00:00Z,many,742,410": ("wrong_type", "'fill' holds 'many'"),
    "1,2026-11-24T10:00:00Z,1_000,742,410": ("wrong_type", "'1_000'"),
    "1,2026-11-24T10:00:00Z,NaN,742,410": ("not_finite", "'fill' holds 'NaN'"),
    "1,2026-11-24T10:00:00Z,2410,inf,410": ("not_finite", "'peak' holds 'inf'"),
    "1,2026-11-24T10:00:00Z,1e999,742,410": ("not_finite", "1e999"),
    "1,2026-13-24T10:00:00Z,2410,742,410": ("wrong_type", "'2026-13-24T10:00:00Z' is no time"),
    "1,2026-11-24T13:00:00Z,2410,742,410": ("absurd_time", "ahead of the service clock"),
    "1,1901-01-01T00:00:00Z,2410,742,410": ("absurd_time", "behind the service clock"),
    "1.5,2026-11-24T10:00:00Z,2410,742,410": ("wrong_type", "'count' holds '1.5'"),
    '1,2026-11-24T10:00:00Z,"2410,742,410': ("bad_file", "unexpected end of data"),
    "-1,2026-11-24T10:00:00Z,2410,742,410": ("wrong_type", "'count'"),
}


@pytest.mark.parametrize(("row", "expected"), ROWS.items())
def test_a_bad_row_is_one_refusal_and_the_file_goes_on(
    tmp_path: Path, row: str, expected: tuple[str, str]
) -> None:
    found = imported(tmp_path, HEADER + GOOD + row + "\n" + GOOD.replace("1,", "2,", 1))

    assert [shot.counter for shot in shots(found)] == [1, 2]
    (refusal,) = refusals(found)
    assert (refusal.reason, refusal.position) == (expected[0], "press.csv:3")
    assert expected[1] in refusal.detail
    assert "line 3" in refusal.detail
    assert refusal.remedy
    assert refusal.raw.decode().strip() == row


def test_a_missing_column_refuses_the_file_once_and_lists_the_columns(tmp_path: Path) -> None:
    (refusal,) = imported(tmp_path, HEADER.replace("peak", "p_max") + GOOD * 3)

    assert isinstance(refusal, Refusal)
    assert refusal.reason == "missing_column"
    assert "'peak'" in refusal.detail
    assert "'count', 'time', 'fill', 'p_max', 'hold'" in refusal.remedy


def test_a_wrong_delimiter_shows_as_missing_columns(tmp_path: Path) -> None:
    (refusal,) = imported(tmp_path, (HEADER + GOOD).replace(",", ";"))

    assert isinstance(refusal, Refusal)
    assert refusal.reason == "missing_column"


def test_an_empty_file_is_refused(tmp_path: Path) -> None:
    (refusal,) = imported(tmp_path, "")

    assert isinstance(refusal, Refusal)
    assert refusal.reason == "bad_file"
    assert "it is empty" in refusal.sentence()


def test_a_column_that_stands_twice_is_refused(tmp_path: Path) -> None:
    (refusal,) = imported(tmp_path, HEADER.replace("hold", "fill") + GOOD)

    assert isinstance(refusal, Refusal)
    assert refusal.reason in {"duplicate_key", "missing_column"}


def test_repeated_headers_and_empty_lines_are_passed_over(tmp_path: Path) -> None:
    found = imported(tmp_path, HEADER + GOOD + "\n" + HEADER + GOOD)

    assert len(shots(found)) == 2
    assert refusals(found) == []


def test_a_decimal_comma_is_read_where_it_is_declared(tmp_path: Path) -> None:
    content = "count;time;fill;peak;hold\n1;2026-11-24T10:00:00Z;2410,5;742;410\n"
    wrong = "2;2026-11-24T10:00:00Z;2410.5;742;410\n"
    found = imported(tmp_path, content + wrong, delimiter=";", decimal_mark=",")

    assert shots(found)[0].values["injection_time"] == pytest.approx(2.4105)
    assert refusals(found)[0].reason == "wrong_decimal_mark"


def test_times_are_made_up_from_start_and_interval_and_marked(tmp_path: Path) -> None:
    time = {"start": datetime(2022, 5, 4, 8, 0, tzinfo=UTC), "interval_s": 36}
    found = shots(imported(tmp_path, HEADER + GOOD + "ragged\n" + GOOD, time=time))

    assert [shot.ended_at - time["start"] for shot in found] == [timedelta(0), timedelta(seconds=72)]
    assert all(shot.time_reconstructed for shot in found)


@pytest.mark.parametrize(
    ("order", "text"),
    [
        ("iso", "2026-06-01 10:00:00"),
        ("day-first", "01.06.2026 10:00:00"),
        ("month-first", "06/01/2026 10:00:00"),
        ("year-first", "2026/6/1 10:00"),
    ],
)
def test_local_times_of_each_date_order_become_utc(tmp_path: Path, order: str, text: str) -> None:
    # In June Berlin is two hours ahead of UTC (IANA time zone database).
    time = {"columns": ["time"], "order": order, "zone": "Europe/Berlin"}
    (shot,) = shots(imported(tmp_path, HEADER + f"1,{text},2410,742,410\n", time=time))

    assert shot.ended_at == datetime(2026, 6, 1, 8, 0, tzinfo=UTC)


@pytest.mark.parametrize(
    ("order", "text"),
    [("epoch-s", "1780300800.25"), ("epoch-s", "1780300800,25"), ("epoch-ms", "1780300800250")],
)
def test_seconds_and_milliseconds_since_1970_become_utc(tmp_path: Path, order: str, text: str) -> None:
    # 1780300800 s after the epoch of POSIX.1-2017 is 2026-06-01 08:00 UTC, by `date -u -d @1780300800`.
    time = {"columns": ["time"], "order": order, "zone": "Europe/Berlin"}
    content = HEADER.replace(",", ";") + f"1;{text};2410;742;410\n"
    (shot,) = shots(imported(tmp_path, content, time=time, delimiter=";"))

    assert shot.ended_at == datetime(2026, 6, 1, 8, 0, 0, 250_000, tzinfo=UTC)


@pytest.mark.parametrize("text", ["nan", "1e300", "-1e300", "x", ""])
def test_what_is_no_count_of_seconds_is_refused(tmp_path: Path, text: str) -> None:
    time = {"columns": ["time"], "order": "epoch-s"}
    (refusal,) = imported(tmp_path, HEADER + f"1,{text},2410,742,410\n", time=time)

    assert isinstance(refusal, Refusal)
    assert refusal.reason == "wrong_type"


def test_a_compact_date_in_two_columns_is_read_by_its_format(tmp_path: Path) -> None:
    content = "count,DATE,TIME,fill,peak,hold\n1,20220729,14:33:23,2410,742,410\n"
    time = {"columns": ["DATE", "TIME"], "format": "%Y%m%d %H:%M:%S"}
    (shot,) = shots(imported(tmp_path, content, time=time))

    assert shot.ended_at == datetime(2022, 7, 29, 14, 33, 23, tzinfo=UTC)


def test_a_column_name_may_contain_the_delimiter_in_quotes(tmp_path: Path) -> None:
    content = 'count,time,fill,peak,"ActTmpBrlZn[1,3]"\n' + GOOD
    setpoints = [{"key": "barrel_temperature.3", "column": "ActTmpBrlZn[1,3]", "unit": "degF"}]
    (shot,) = shots(imported(tmp_path, content, setpoints=setpoints))

    assert shot.setpoints["barrel_temperature.3"] == pytest.approx(210.0)


def test_a_run_is_opened_before_its_first_shot_and_closed_after_its_last(tmp_path: Path) -> None:
    found = imported(tmp_path, HEADER + GOOD * 2, run="R-1", mold="Larch 5", lot="4471")

    opening, closing = found[0], found[-1]
    assert isinstance(opening, RunMessage)
    assert isinstance(closing, RunMessage)
    assert (opening.action, opening.run, opening.mold, opening.lot) == ("open", "R-1", "Larch 5", "4471")
    assert (closing.action, closing.at) == ("close", shots(found)[-1].ended_at)
    assert {shot.run for shot in shots(found)} == {"R-1"}


def test_an_unknown_press_is_refused_row_by_row(tmp_path: Path) -> None:
    policy = Policy(max_age=timedelta(days=400), known_presses=frozenset({"P2"}))
    found = imported(tmp_path, HEADER + GOOD, policy=policy)

    assert [refusal.reason for refusal in refusals(found)] == ["unknown_press"]


def test_bytes_of_another_encoding_are_refused_unchanged(tmp_path: Path) -> None:
    content = b"count,time,fill,peak,hold,tray\n1,2026-11-24T10:00:00Z,2410,742,410,f\xfcnf\n"
    (refusal,) = imported(tmp_path, content, tray_column="tray")

    assert isinstance(refusal, Refusal)
    assert "encoding" in refusal.remedy
    assert b"f\xfcnf" in refusal.raw
    (shot,) = shots(imported(tmp_path, content, tray_column="tray", encoding="latin-1"))
    assert shot.tray == "fünf"


def test_a_byte_order_mark_is_no_part_of_the_first_column(tmp_path: Path) -> None:
    assert len(shots(imported(tmp_path, b"\xef\xbb\xbf" + (HEADER + GOOD).encode()))) == 1


def test_gaugings_by_tray_and_position(tmp_path: Path) -> None:
    content = "tray,place,date,clock,dome_in,weight\n41,3,24.11.2026,11:30,0.112,174.2\n"
    content += "41,4,24.11.2026,11:31,,174.0\n"
    found = imported(tmp_path, content, GAUGINGS)

    assert all(isinstance(record, GaugingMessage) for record in found)
    names = [(g.tray, g.position, g.characteristic) for g in found if isinstance(g, GaugingMessage)]
    assert names == [("41", 3, "dome"), ("41", 3, "weight"), ("41", 4, "weight")]
    dome = found[0]
    assert isinstance(dome, GaugingMessage)
    assert (dome.value, dome.original) == (pytest.approx(2.8448), (0.112, "in"))
    assert dome.gauged_at == datetime(2026, 11, 24, 10, 30, tzinfo=UTC)


def test_gaugings_by_order_count_from_the_offset_and_skip_what_was_not_measured(tmp_path: Path) -> None:
    base = {**GAUGINGS, "link": "order", "time": None, "offset": 2, "run": "R-1"}
    found = imported(tmp_path, "dome_in,weight\n0.1,174\n,\n0.1,\n", base)

    order = [(g.order_index, g.characteristic) for g in found if isinstance(g, GaugingMessage)]
    assert order == [(2, "dome"), (2, "weight"), (4, "dome")]
    assert {g.order_batch for g in found if isinstance(g, GaugingMessage)} == {"press.csv"}


def test_a_gauging_row_without_its_tray_is_refused(tmp_path: Path) -> None:
    (refusal,) = imported(
        tmp_path, "tray,place,date,clock,dome_in,weight\n,3,24.11.2026,11:30,0.1,174\n", GAUGINGS
    )

    assert isinstance(refusal, Refusal)
    assert refusal.reason == "missing_field"


@pytest.mark.parametrize(
    ("changes", "word"),
    [
        ({"values": [{"key": "injection_time", "column": "fill", "unit": "barr"}]}, "barr"),
        ({"values": [{"key": "injection_time", "column": "fill", "unit": "mm"}]}, "does not measure"),
        ({"values": [{"key": "own_value", "column": "fill"}]}, "no unit"),
        ({"values": [{"key": "dome", "column": "fill"}]}, "gaugings"),
        ({"values": [{"key": "cushion", "column": "a"}, {"key": "cushion", "column": "b"}]}, "twice"),
        ({"delimiter": ",", "decimal_mark": ","}, "same sign"),
        ({"header_rows": 0}, "column_count"),
        ({"time": {"columns": ["time"], "zone": "Mars/Olympus"}}, "Mars"),
        ({"time": {"start": datetime(2022, 5, 4), "interval_s": 36}}, "zone"),  # noqa: DTZ001
        ({"encoding": "utf-99"}, "utf-99"),
        ({"valeus": []}, "valeus"),
    ],
)
def test_a_profile_that_cannot_work_is_refused_when_it_is_read(changes: dict[str, Any], word: str) -> None:
    with pytest.raises(ValidationError, match=word):
        profile(SHOTS, **changes)


def test_a_gauging_profile_needs_the_columns_of_its_link() -> None:
    with pytest.raises(ValidationError, match="needs the column"):
        profile(GAUGINGS, position_column=None)


def test_a_file_that_is_not_there_is_one_sentence(tmp_path: Path) -> None:
    job = Import(site="lowland", now=NOW, received_at=NOW)
    with pytest.raises(UserError, match="cannot be read"):
        list(read(tmp_path / "none.csv", profile(SHOTS), job))


def test_a_file_without_a_press_is_one_sentence(tmp_path: Path) -> None:
    with pytest.raises(UserError, match="no press is named"):
        imported(tmp_path, HEADER + GOOD, press=None)
