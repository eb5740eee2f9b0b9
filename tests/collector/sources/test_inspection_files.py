"""Files as presses and gateways write them, each written by hand after a description: what is proposed.

The values are invented; the ways of writing are those that EUROMAP 63 collectors and press exports are
known for (common practice, no source).
"""

from __future__ import annotations

import os
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from collector.contract.mapping import GaugingProfile, ShotProfile
from collector.contract.messages import GaugingMessage
from collector.contract.refusal import Refusal
from collector.contract.shot import Shot
from collector.errors import UserError
from collector.sources import inspection, profiles
from collector.sources.csv_file import Import, Record, read
from collector.sources.inspection import Known, Proposal, sample

NOW = datetime(2026, 11, 24, 12, 0, tzinfo=UTC)
KNOWN = Known(zone="Europe/Berlin", now=NOW, press="P1", run="R-1")
OUTSIDE = os.environ.get("EVENRUN_OUTSIDE")
REAL = Path(OUTSIDE or "") / "data"
outside = pytest.mark.skipif(OUTSIDE is None, reason="EVENRUN_OUTSIDE is not set: no real files")

# The old file-based interface: names with brackets and commas, wrapped lines, the header in mid-file, a count
# that starts anew, an absent zone that reports 0.0, Fahrenheit beside bar, a state that is no number.
TOKENS = """\
DATE,TIME,COUNT,ActTimCyc,ActTimFill[1],ActTimPlst[1],ActStrCsh[1],ActPrsMachSpecMax,
   ActPrsXfrSpec[1],ActTmpBrlZn[1,1],ActTmpBrlZn[1,2],
   ActTmpBrlZn[1,3],ActFrcClp,ActStsMach,ActCntCyc,ActCntPrt,SetTimCyc
20260729,14:33:23,17,48.22,1.475,11.92,4.73,742,726,427.1,
   0.0,418.0,1480,"0A000",162,49174,48.50
20260729,14:34:11,18,48.25,1.471,11.95,4.70,748,730,427.0,
   0.0,418.1,1481,"0A000",163,49175,48.50
DATE,TIME,COUNT,ActTimCyc,ActTimFill[1],ActTimPlst[1],ActStrCsh[1],ActPrsMachSpecMax,
   ActPrsXfrSpec[1],ActTmpBrlZn[1,1],ActTmpBrlZn[1,2],
   ActTmpBrlZn[1,3],ActFrcClp,ActStsMach,ActCntCyc,ActCntPrt,SetTimCyc
20260729,14:34:59,19,48.21,1.479,11.90,4.76,739,722,427.2,
   0.0,418.0,1479,"0A000",164,49176,48.50
20260729,14:35:48,20,48.24,1.474,11.93,4.71,745,727,427.1,
   0.0,418.0,1480,"0A000",1,49177,48.50
20260729,14:36:36,21,48.20,1.476,11.94,4.74,741,725,427.0,
   0.0,418.2,1482,"0A000",2,49178,48.50
"""

# A press's export with lines above the table, units in the third row, newest first, dotted times, decimal
# commas, two cavities a shot, and a peak pressure that was polled before it was written.
CAVITIES = """\
Maschinenprotokoll;;;;;;;
erstellt am 14.05.2026;;;;;;;
Datum;Uhrzeit;Zyklusnummer;Nest;Spritzdruck max;Massepolster;Werkzeugtemp. Kern;Teilegewicht
Tag;Zeit;Schuss;Nest;Presse;Presse;Kern;Waage
;;;;bar;mm;°C;g
14.05.2026;10.02.24;904;2;738,5;5,12;41,2;174,3
14.05.2026;10.02.24;904;1;738,5;5,12;41,2;174,1

14.05.2026;10.01.36;903;2;0,0;5,08;41,3;174,4
14.05.2026;10.01.36;903;1;0,0;5,08;41,3;174,0
;;;;;;;
14.05.2026;10.00.48;902;2;741,0;5,10;41,1;174,6
14.05.2026;10.00.48;902;1;741,0;5,10;41,1;173,9
14.05.2026;10.00.00;901;2;740,2;5,11;41,0;174,2
14.05.2026;10.00.00;901;1;740,2;5,11;41,0;174,2
"""

# A spreadsheet's UTF-16 text: tabs, month first with halves of the day, units in brackets, psi, Fahrenheit.
AMERICAN = """\
Timestamp\tPress\tShot Count\tPeak Pressure (psi)\tCushion (in)\tBarrel Zone 1 (F)\tCycle Time (ms)\tRemark
5/14/2026 11:59:12 AM\tP4\t51\t10760\t0.187\t392\t48220\t
5/14/2026 12:00:00 PM\tP4\t52\t10790\t0.185\t393\t48190\tn/a
5/14/2026 12:00:48 PM\tP4\t53\t10740\t---\t392\t48230\t
5/14/2026 12:01:36 PM\tP4\t54\t10770\t0.189\t391\t48200\tlid open
"""


def proposed(folder: Path, content: str | bytes, name: str = "press.csv", known: Known = KNOWN) -> Proposal:
    path = folder / name
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return inspection.propose(path, known)


def imported(folder: Path, proposal: Proposal) -> list[Record]:
    profile = profiles.parse(inspection.as_toml(proposal), "proposed")
    job = Import(site="lowland", now=NOW, received_at=NOW)
    return list(read(folder / proposal.file_name, profile, job))


def shots(folder: Path, proposal: Proposal) -> list[Shot]:
    found = imported(folder, proposal)
    assert [record.sentence() for record in found if isinstance(record, Refusal)] == []
    return [record for record in found if isinstance(record, Shot)]


def doubts(proposal: Proposal) -> str:
    return "\n".join(proposal.sentences())


def test_a_file_of_the_old_interface_is_read_with_its_traps(tmp_path: Path) -> None:
    proposal = proposed(tmp_path, TOKENS)
    found = shots(tmp_path, proposal)

    assert [shot.counter for shot in found] == [162, 163, 164, 1, 2]
    assert found[0].ended_at == datetime(2026, 7, 29, 12, 33, 23, tzinfo=UTC)  # summer time in Berlin
    assert found[0].values == pytest.approx(
        {
            "cycle_time": 48.22, "injection_time": 1.475, "recovery_time": 11.92, "cushion": 4.73,
            "peak_melt_pressure": 74.2, "switchover_melt_pressure": 72.6, "clamp_force": 1480,
            "barrel_temperature.1": (427.1 - 32) / 1.8, "barrel_temperature.3": (418.0 - 32) / 1.8,
        }
    )
    assert found[0].originals["barrel_temperature.1"] == (427.1, "degF")
    for word in ("white space", "counter falls", "header comes again", "name no zone", "degF"):
        assert word in doubts(proposal)
    left_out = {str(column.reference): why for column, why in proposal.mapping.left_out}
    assert "zeros" in left_out["ActTmpBrlZn[1,2]"]
    assert left_out["ActStsMach"] == "text"


@pytest.mark.parametrize("encoding", ["latin-1", "utf-8", "utf-8-sig", "utf-16"])
def test_an_export_with_two_cavities_newest_first_is_read(tmp_path: Path, encoding: str) -> None:
    proposal = proposed(tmp_path, CAVITIES.encode(encoding))
    found = shots(tmp_path, proposal)

    assert [shot.counter for shot in found] == [901, 902, 903, 904]
    assert found[1].ended_at == datetime(2026, 5, 14, 8, 0, 48, tzinfo=UTC)
    assert found[1].values == pytest.approx(
        {
            "peak_melt_pressure": 74.1, "cushion": 5.10, "mold_core_temperature": 41.1,
            "part_weight.1": 173.9, "part_weight.2": 174.6,
        }
    )
    assert found[2].not_written == ("peak_melt_pressure",)
    profile = profiles.parse(inspection.as_toml(proposal), "proposed")
    assert (profile.skip_rows, profile.header_rows, profile.newest_first) == (2, 3, True)
    assert "taken for not written" in doubts(proposal)


def test_a_spreadsheet_with_american_units_and_times_is_read(tmp_path: Path) -> None:
    proposal = proposed(tmp_path, AMERICAN.encode("utf-16"), known=Known(zone="UTC", now=NOW))
    first, second, third, _ = shots(tmp_path, proposal)

    assert (first.press, first.counter) == ("P4", 51)
    assert first.ended_at == datetime(2026, 5, 14, 11, 59, 12, tzinfo=UTC)
    assert second.ended_at == datetime(2026, 5, 14, 12, 0, tzinfo=UTC)
    # 1 psi is 6.894757 kPa and 1 in 25.4 mm (NIST Special Publication 811, appendix B).
    assert first.values == pytest.approx(
        {
            "peak_melt_pressure": 10760 * 6.894757e-3, "cushion": 0.187 * 25.4, "cycle_time": 48.22,
            "barrel_temperature.1": 200.0,
        }
    )
    assert third.not_written == ("cushion",)
    assert "'---'" in doubts(proposal)
    assert "unit" not in doubts(proposal)  # all are stated and plausible


def test_a_file_without_times_gets_them_from_start_and_interval(tmp_path: Path) -> None:
    content = "Shot;Cycle time [s];Cushion [mm]\n" + "".join(f"{n};48.{n};5.{n}\n" for n in range(1, 9))
    guess = proposed(tmp_path, content)
    start = datetime(2026, 5, 14, 8, 0, tzinfo=UTC)
    told = inspection.propose(tmp_path / "press.csv", replace(KNOWN, start=start, interval_s=50))

    assert all(shot.time_reconstructed for shot in shots(tmp_path, guess))
    assert guess.time["interval_s"] == pytest.approx(48.45)  # the middle of 48.1 to 48.8
    assert "start is a guess" in doubts(guess)
    ends = [start + timedelta(seconds=50 * n) for n in range(8)]
    assert [shot.ended_at for shot in shots(tmp_path, told)] == ends
    assert "start is a guess" not in doubts(told)


UNITS = [
    # Values that can only be one unit, values that belie their unit, and values in tenths.
    ("Peak pressure", "74.1", "peak_melt_pressure", 74.1, "only MPa"),
    ("Peak pressure", "741", "peak_melt_pressure", 74.1, "only bar"),
    ("Peak pressure", "10760", "peak_melt_pressure", 74.1876, "only psi"),
    ("Peak pressure [MPa]", "741", "peak_melt_pressure", 74.1, "cannot be"),
    ("Barrel temperature 2", "201", "barrel_temperature.2", 201, "only degC"),
    ("Barrel temperature 2", "392", "barrel_temperature.2", 200, "only degF"),
    ("Barrel temperature 2 °C", "500", "barrel_temperature.2", 260, "cannot be"),
    ("Barrel temperature 2", "2010", "barrel_temperature.2", 201, "times 0.1"),
    ("Peak pressure [mm]", "741", "peak_melt_pressure", 74.1, "does not measure"),
    ("Mold core temperature", "90", "mold_core_temperature", 90, "90 degF (32.22 degC)"),
    ("Fill time", "2410", "injection_time", 2.41, "only ms"),
    ("Cooling time", "20", "cooling_time", 20, "taken for a setting"),
]


@pytest.mark.parametrize("case", UNITS, ids=lambda case: f"{case[0]} {case[1]}")
def test_a_unit_is_found_by_the_values(tmp_path: Path, case: tuple[str, str, str, float, str]) -> None:
    header, cell, key, expected, word = case
    rows = "".join(f"{n};14.05.2026 10:{n}:00;{cell};5.1{n}\n" for n in range(10, 40))
    proposal = proposed(tmp_path, f"Shot;Time;{header};Cushion [mm]\n{rows}")
    first = shots(tmp_path, proposal)[0]

    assert {**first.values, **first.setpoints}[key] == pytest.approx(expected, rel=1e-4)
    assert word in doubts(proposal)


@pytest.mark.parametrize(
    ("dates", "order", "sure"),
    [
        (["03.04.2026", "04.04.2026", "05.04.2026"], "day-first", True),  # the other way a month lies between
        (["04/03/2026", "04/04/2026", "04/05/2026"], "month-first", True),
        (["13.04.2026", "14.04.2026", "15.04.2026"], "day-first", True),
        (["04/13/2026", "04/14/2026", "04/15/2026"], "month-first", True),
        (["05.05.2026", "05.05.2026", "05.05.2026"], "day-first", False),
        (["2026-05-13", "2026-05-14", "2026-05-15"], "iso", True),
        (["2026/5/3", "2026/5/4", "2026/5/5"], "year-first", True),
    ],
)
def test_the_order_of_a_date_is_found_by_its_numbers_or_by_the_course_of_time(
    tmp_path: Path, dates: list[str], order: str, sure: bool
) -> None:
    rows = "".join(f"{n};{date} 10:00:0{n};5.1\n" for n, date in enumerate(dates))
    proposal = proposed(tmp_path, f"Shot;Time;Cushion [mm]\n{rows}")

    assert proposal.time["order"] == order
    assert ("no date of the sample tells" in doubts(proposal)) is not sure


BAD = {
    "empty": (b"", "is empty"),
    "blank": (b"\xef\xbb\xbf\r\n \r\n", "is empty"),
    "workbook": (b"PK\x03\x04" + bytes(range(256)), "not a text file"),
    "binary": (bytes(range(256)) * 8, "no text file"),
    "zeros": (b"\x00\x01\x02\x03" * 100, "no text file"),
    "header only": (b"Shot;Time;Cushion\n", "only a header"),
    "header and units": (b"Shot;Time;Cushion\n;;mm\n", "only a header"),
    "letter": (b"Dear operator,\nthe press is warm,\nso are we,\nsee you,\nbye\n", "no column of numbers"),
    "names": (b"name;town;job\n" + b"fir;low;tree\n" * 20, "no column of numbers"),
    "times only": (b"Time;Who\n" + b"14.05.2026 10:00:00;operator\n" * 9, "no column of numbers"),
    "half numbers": (b"1;x\ny;2\n" * 4, "no column of numbers"),
    "counter only": (b"Shot\n1\n2\n3\n4\n5\n6\n", "no column that could be a value"),
}


@pytest.mark.parametrize("name", list(BAD))
def test_a_file_that_is_no_table_of_shots_is_one_sentence(tmp_path: Path, name: str) -> None:
    content, word = BAD[name]
    with pytest.raises(UserError, match=word) as raised:
        proposed(tmp_path, content)
    assert "\n" not in str(raised.value)
    assert "press.csv" in str(raised.value)


def test_a_file_that_is_not_there_is_one_sentence(tmp_path: Path) -> None:
    with pytest.raises(UserError, match="cannot be read"):
        inspection.propose(tmp_path / "none.csv", KNOWN)


def test_every_doubt_stands_as_a_comment_in_the_profile(tmp_path: Path) -> None:
    proposal = proposed(tmp_path, TOKENS, known=Known(zone="UTC", now=NOW))
    text = inspection.as_toml(proposal)

    assert text.count("# DOUBT: ") == len(proposal.sentences())
    assert '# press = "..."' in text


def test_only_a_little_of_a_large_file_is_read_and_its_end_is_seen(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sample, "HEAD_BYTES", 4096)
    monkeypatch.setattr(sample, "STRETCH_BYTES", 512)
    head = "Shot;Time;Cushion [mm];Peak pressure [bar]\n"
    clocks = [f"1{n // 3600}:{n // 60 % 60:02}:{n % 60:02}" for n in range(9000)]
    rows = [f"{n};14.05.2026 {clock};5.{n % 90 + 10};741\n" for n, clock in enumerate(clocks)]
    rows[-1] = rows[-1].replace("741", "0")
    proposal = proposed(tmp_path, head + "".join(rows))

    (pressure,) = (mapped for mapped in proposal.mapping.values if mapped.key == "peak_melt_pressure")
    assert pressure.zero_means_not_written  # the only zero is in the last row
    assert len(pressure.column.texts) < 400


def test_a_stretch_that_is_cut_within_a_sign_leaves_the_encoding_alone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sample, "HEAD_BYTES", 1024)
    monkeypatch.setattr(sample, "STRETCH_BYTES", 129)
    rows = "".join(f"{n};14.05.2026 10:{n % 60:02}:00;5.1;üüüüüü€€€€\n" for n in range(900))
    for encoding in ("utf-8", "latin-1"):
        text = f"Shot;Time;Cushion [mm];Note\n{rows}".replace("€", "ß")
        proposal = proposed(tmp_path, text.encode(encoding))

        assert proposal.head["encoding"] == encoding


@outside
def test_the_real_shots_come_in_as_with_the_profile_written_for_them() -> None:
    path = REAL / "real-cap-run/shots.csv"
    proposal = inspection.propose(path, KNOWN)
    job = Import(site="lowland", now=NOW, received_at=NOW)
    by_hand = [r for r in read(path, profiles.load("cap-press"), job) if isinstance(r, Shot)]
    found = shots(path.parent, proposal)

    assert [shot.counter for shot in found] == list(range(251, 410))
    assert all(shot.time_reconstructed for shot in found)
    same = {
        "injection_time", "recovery_time", "switchover_melt_pressure", "switchover_volume", "cushion_volume",
        *(f"barrel_temperature.{zone}" for zone in range(1, 6)),
    }
    for mine, theirs in zip(found, by_hand, strict=True):
        assert {k: v for k, v in mine.values.items() if k in same} == {
            k: v for k, v in theirs.values.items() if k in same
        }
        # The complete column of the two that hold a peak pressure is taken.
        assert mine.values["peak_melt_pressure"] == theirs.values["curve_peak_melt_pressure"]
        assert mine.setpoints.items() >= theirs.setpoints.items()
        assert set(same & set(theirs.not_written)) <= set(mine.not_written)


@outside
@pytest.mark.parametrize(
    ("file", "by_hand"),
    [
        ("Messdaten_Strgrsn_Umschaltpunkt_WKZTemp.csv", "cap-projector"),
        ("Gewicht_Strgrsn_Umschaltpkt_WKZTemp.csv", "cap-weights"),
    ],
)
def test_the_real_gaugings_come_in_as_with_the_profile_written_for_them(file: str, by_hand: str) -> None:
    path = REAL / "real-cap-run" / file
    proposal = inspection.propose(path, KNOWN)
    job = Import(site="lowland", now=NOW, received_at=NOW)

    def told(records: list[Record]) -> set[tuple[object, ...]]:
        assert all(isinstance(record, GaugingMessage) for record in records)
        gaugings = [record for record in records if isinstance(record, GaugingMessage)]
        return {(gauging.order_index, gauging.value, gauging.unit, gauging.gauged_at) for gauging in gaugings}

    assert told(imported(path.parent, proposal)) == told(list(read(path, profiles.load(by_hand), job)))


@outside
def test_the_real_plan_links_its_gaugings_by_counter_and_the_shots_file_has_the_same() -> None:
    def values(file: str, kind: inspection.Known) -> dict[tuple[int | None, str], float]:
        records = imported(REAL / "real-cap-run", inspection.propose(REAL / "real-cap-run" / file, kind))
        return {(r.counter, r.characteristic): r.value for r in records if isinstance(r, GaugingMessage)}

    plan = values("Strgn_Umschaltpkt.csv", KNOWN)
    assert len(plan) == 159 * 5
    assert values("shots.csv", replace(KNOWN, kind="gaugings")) == plan


@outside
def test_the_real_machine_temperature_is_a_press_with_one_quantity() -> None:
    path = REAL / "machine-temperature/machine_temperature_system_failure.csv"
    proposal = inspection.propose(path, replace(KNOWN, zone="UTC"))
    found = shots(path.parent, proposal)

    assert len(found) == 22695  # as the data set's own notes count
    assert set(found[0].values) == {"machine_temperature"}
    assert "degF" in doubts(proposal)  # its unit is not given
    assert "step back" in doubts(proposal)  # nor is the change of its clock


def test_cycle_times_that_cannot_be_make_no_times(tmp_path: Path) -> None:
    content = "Shot;Cycle time [s];Cushion [mm]\n" + "".join(f"{n};9e30;5.{n}\n" for n in range(1, 9))
    proposal = proposed(tmp_path, content)

    assert proposal.time["interval_s"] == 60
    assert "placeholder" in doubts(proposal)


def test_a_profile_of_gaugings_is_proposed_for_dimensions_and_says_what_it_lacks(tmp_path: Path) -> None:
    content = "Tray,Place,Dome mm,Diameter mm\n41,1,2.1,212.3\n41,2,2.4,212.1\n41,3,2.2,212.2\n"
    proposal = proposed(tmp_path, content, "dome.csv", Known(zone="UTC", now=NOW))
    profile = profiles.parse(inspection.as_toml(proposal), "proposed")

    assert isinstance(profile, GaugingProfile)
    assert profile.link == "tray"
    found = [record for record in imported(tmp_path, proposal) if isinstance(record, GaugingMessage)]
    assert [(g.tray, g.position, g.characteristic, g.value) for g in found[:2]] == [
        ("41", 1, "dome", 2.1), ("41", 1, "diameter", 212.3),
    ]
    assert "age of the discs stays unknown" in doubts(proposal)


def test_columns_that_share_a_name_or_have_none_are_named_by_number(tmp_path: Path) -> None:
    content = "Shot;Time;Barrel [°C];Barrel [°C];\n" + "".join(
        f"{n};2026-05-14 10:00:0{n};20{n}.5;21{n}.5;{n}.5\n" for n in range(1, 9)
    )
    proposal = proposed(tmp_path, content)
    profile = profiles.parse(inspection.as_toml(proposal), "proposed")

    assert isinstance(profile, ShotProfile)
    assert [column.column for column in profile.values] == [3, 4]
    assert len(shots(tmp_path, proposal)) == 8
