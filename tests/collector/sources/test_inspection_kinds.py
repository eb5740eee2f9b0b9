"""Each way of writing a press's export, in bytes written by hand: one truth, and what is proposed reads it.

The five shots are invented. The ways of writing are those that exports and public collectors of EUROMAP 63
reports are known for (common practice, no source); each file has one of them and is otherwise plain.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from collector.contract.refusal import Refusal
from collector.contract.shot import Shot
from collector.sources import inspection, profiles
from collector.sources.csv_file import Import, read
from collector.sources.inspection import Known

NOW = datetime(2026, 11, 24, 12, 0, tzinfo=UTC)
START = datetime(2026, 5, 14, 11, 59, 10, tzinfo=UTC)
KNOWN = Known(zone="UTC", now=NOW, press="P3", run="R-1", start=START, interval_s=50)

COUNTERS = [101, 102, 103, 104, 105]
TIMES = [START + timedelta(seconds=50 * number) for number in range(5)]
CUSHION = [5.12, 5.08, 5.15, 5.10, 5.11]
PRESSURE = [742.0, 741.5, 744.0, 743.0, 740.5]


@dataclass(frozen=True)
class Kind:
    """A file, and a word of each doubt that must be marked."""

    content: bytes
    doubts: tuple[str, ...] = ()


PLAIN = b"""\
Cycle,Time,Cushion [mm],Peak pressure [bar]
101,2026-05-14T11:59:10Z,5.12,742.0
102,2026-05-14T12:00:00Z,5.08,741.5
103,2026-05-14T12:00:50Z,5.15,744.0
104,2026-05-14T12:01:40Z,5.10,743.0
105,2026-05-14T12:02:30Z,5.11,740.5
"""

KINDS = {
    "commas": Kind(PLAIN),
    "semicolons": Kind(PLAIN.replace(b",", b";")),
    "tabs": Kind(PLAIN.replace(b",", b"\t")),
    "bars": Kind(PLAIN.replace(b",", b"|")),
    "line ends of DOS": Kind(PLAIN.replace(b"\n", b"\r\n")),
    "no line end at the end": Kind(PLAIN.rstrip(b"\n")),
    "decimal comma": Kind(PLAIN.replace(b",", b";").replace(b".", b",")),
    "decimal comma in quotes": Kind(
        b'Cycle,Time,Cushion [mm],Peak pressure [bar]\n'
        b'101,2026-05-14T11:59:10Z,"5,12","742,0"\n'
        b'102,2026-05-14T12:00:00Z,"5,08","741,5"\n'
        b'103,2026-05-14T12:00:50Z,"5,15","744,0"\n'
        b'104,2026-05-14T12:01:40Z,"5,10","743,0"\n'
        b'105,2026-05-14T12:02:30Z,"5,11","740,5"\n'
    ),
    "UTF-8 with its mark": Kind(b"\xef\xbb\xbf" + PLAIN),
    "UTF-16, little end first": Kind(b"\xff\xfe" + PLAIN.decode().encode("utf-16-le")),
    "UTF-16, big end first": Kind(b"\xfe\xff" + PLAIN.decode().encode("utf-16-be")),
    "UTF-16 without its mark": Kind(PLAIN.decode().encode("utf-16-le"), ("byte order mark",)),
    "Latin-1": Kind(
        b"Z\xe4hler;Zeit;Massepolster [mm];Spritzdruck max [bar];T D\xfcse [\xb0C]\n"
        b"101;2026-05-14T11:59:10Z;5.12;742.0;210\n"
        b"102;2026-05-14T12:00:00Z;5.08;741.5;210\n"
        b"103;2026-05-14T12:00:50Z;5.15;744.0;211\n"
        b"104;2026-05-14T12:01:40Z;5.10;743.0;210\n"
        b"105;2026-05-14T12:02:30Z;5.11;740.5;210\n",
        ("not UTF-8",),
    ),
    "units in the second row": Kind(
        b"Cycle,Time,Cushion,Peak pressure\n,,mm,bar\n" + PLAIN.split(b"\n", 1)[1]
    ),
    "units in the third row": Kind(
        b"Cycle,Time,Cushion,Peak pressure\nNo.,UTC,Actual,Actual\n,,mm,bar\n" + PLAIN.split(b"\n", 1)[1],
        ("rows above the data",),
    ),
    "lines above the header": Kind(
        b"Shop floor report\nmade on 2026-05-14\n\n" + PLAIN, ("passed over",)
    ),
    "names with brackets and commas": Kind(
        b"ActCntCyc,Time,ActStrCsh[1,1],ActPrsMachSpecMax\n" + PLAIN.split(b"\n", 1)[1],
        ("no unit is written",),
    ),
    "wrapped lines": Kind(
        b"Cycle,Time,\n  Cushion [mm],Peak pressure [bar]\n"
        b"101,2026-05-14T11:59:10Z,\n  5.12,742.0\n102,2026-05-14T12:00:00Z,\n  5.08,741.5\n"
        b"103,2026-05-14T12:00:50Z,\n  5.15,744.0\n104,2026-05-14T12:01:40Z,\n  5.10,743.0\n"
        b"105,2026-05-14T12:02:30Z,\n  5.11,740.5\n",
        ("white space",),
    ),
    "newest first": Kind(
        b"\n".join([PLAIN.splitlines()[0], *reversed(PLAIN.splitlines()[1:])]) + b"\n", ("newest",)
    ),
    "the header comes again": Kind(
        b"\n".join([*PLAIN.splitlines()[:3], PLAIN.splitlines()[0], *PLAIN.splitlines()[3:]]) + b"\n",
        ("header comes again",),
    ),
    "blank rows": Kind(PLAIN.replace(b"\n103", b"\n\n,,,\n103")),
    "a delimiter more at the end": Kind(PLAIN.replace(b"\n", b",\n")),
    "date and time in two columns": Kind(
        b"Cycle,Date,Time,Cushion [mm],Peak pressure [bar]\n"
        b"101,14.05.2026,11:59:10,5.12,742.0\n102,14.05.2026,12:00:00,5.08,741.5\n"
        b"103,14.05.2026,12:00:50,5.15,744.0\n104,14.05.2026,12:01:40,5.10,743.0\n"
        b"105,14.05.2026,12:02:30,5.11,740.5\n",
        ("no zone",),
    ),
    "dotted times": Kind(
        b"Cycle;Time;Cushion [mm];Peak pressure [bar]\n"
        b"101;14.05.2026 11.59.10;5.12;742.0\n102;14.05.2026 12.00.00;5.08;741.5\n"
        b"103;14.05.2026 12.00.50;5.15;744.0\n104;14.05.2026 12.01.40;5.10;743.0\n"
        b"105;14.05.2026 12.02.30;5.11;740.5\n",
        ("no zone",),
    ),
    "halves of the day": Kind(
        b"Cycle,Time,Cushion [mm],Peak pressure [bar]\n"
        b"101,5/14/2026 11:59:10 AM,5.12,742.0\n102,5/14/2026 12:00:00 PM,5.08,741.5\n"
        b"103,5/14/2026 12:00:50 PM,5.15,744.0\n104,5/14/2026 12:01:40 PM,5.10,743.0\n"
        b"105,5/14/2026 12:02:30 PM,5.11,740.5\n",
        ("no zone",),
    ),
    "compact date and time": Kind(
        b"Cycle,Date,Time,Cushion [mm],Peak pressure [bar]\n"
        b"101,20260514,115910,5.12,742.0\n102,20260514,120000,5.08,741.5\n"
        b"103,20260514,120050,5.15,744.0\n104,20260514,120140,5.10,743.0\n"
        b"105,20260514,120230,5.11,740.5\n",
        ("no zone",),
    ),
    "seconds since 1970": Kind(
        b"Cycle,Timestamp,Cushion [mm],Peak pressure [bar]\n"
        b"101,1778759950,5.12,742.0\n102,1778760000,5.08,741.5\n103,1778760050,5.15,744.0\n"
        b"104,1778760100,5.10,743.0\n105,1778760150,5.11,740.5\n"
    ),
    "milliseconds since 1970": Kind(
        b"Cycle;ts;Cushion [mm];Peak pressure [bar]\n"
        b"101;1778759950000;5,12;742,0\n102;1778760000000;5,08;741,5\n103;1778760050000;5,15;744,0\n"
        b"104;1778760100000;5,10;743,0\n105;1778760150000;5,11;740,5\n"
    ),
    "times in words, which need a format": Kind(
        b"Cycle,Time,Cushion [mm],Peak pressure [bar]\n"
        b"101,14-May-2026 11:59:10,5.12,742.0\n102,14-May-2026 12:00:00,5.08,741.5\n"
        b"103,14-May-2026 12:00:50,5.15,744.0\n104,14-May-2026 12:01:40,5.10,743.0\n"
        b"105,14-May-2026 12:02:30,5.11,740.5\n",
        ("is no way that is known; give its format",),
    ),
    "no times at all": Kind(
        b"Cycle,Cushion [mm],Peak pressure [bar]\n"
        b"101,5.12,742.0\n102,5.08,741.5\n103,5.15,744.0\n104,5.10,743.0\n105,5.11,740.5\n"
    ),
}


def shots_of(path: Path) -> tuple[list[Shot], str]:
    """What the proposed profile reads, and all doubts in one text."""
    proposal = inspection.propose(path, KNOWN)
    profile = profiles.parse(inspection.as_toml(proposal), "proposed")
    records = list(read(path, profile, Import(site="lowland", now=NOW, received_at=NOW)))
    assert [record.sentence() for record in records if isinstance(record, Refusal)] == []
    return [record for record in records if isinstance(record, Shot)], "\n".join(proposal.sentences())


@pytest.mark.parametrize("name", KINDS)
def test_each_way_of_writing_is_read_to_the_same_shots(tmp_path: Path, name: str) -> None:
    path = tmp_path / "press.csv"
    path.write_bytes(KINDS[name].content)

    shots, doubts = shots_of(path)

    assert [shot.counter for shot in shots] == COUNTERS
    assert [shot.ended_at for shot in shots] == TIMES
    assert [shot.values["cushion"] for shot in shots] == CUSHION
    assert [shot.values["peak_melt_pressure"] * 10 for shot in shots] == pytest.approx(PRESSURE)
    for word in KINDS[name].doubts:
        assert word in doubts


def test_a_counter_that_resets_counts_anew_and_is_marked(tmp_path: Path) -> None:
    path = tmp_path / "press.csv"
    path.write_bytes(PLAIN.replace(b"\n104,", b"\n1,").replace(b"\n105,", b"\n2,"))

    shots, doubts = shots_of(path)

    assert [shot.counter for shot in shots] == [101, 102, 103, 1, 2]
    assert [shot.ended_at for shot in shots] == TIMES
    assert "restart of the count" in doubts


def test_two_cavities_with_a_row_each_are_one_shot(tmp_path: Path) -> None:
    path = tmp_path / "press.csv"
    path.write_bytes(
        b"Cycle,Cavity,Time,Cushion [mm],Part weight [g]\n"
        b"101,1,2026-05-14T11:59:10Z,5.12,174.9\n101,2,2026-05-14T11:59:10Z,5.12,175.2\n"
        b"102,1,2026-05-14T12:00:00Z,5.08,174.8\n102,2,2026-05-14T12:00:00Z,5.08,175.1\n"
        b"103,1,2026-05-14T12:00:50Z,5.15,175.0\n103,2,2026-05-14T12:00:50Z,5.15,175.3\n"
    )

    shots, _ = shots_of(path)

    assert [shot.counter for shot in shots] == [101, 102, 103]
    assert [shot.values for shot in shots] == [
        {"cushion": 5.12, "part_weight.1": 174.9, "part_weight.2": 175.2},
        {"cushion": 5.08, "part_weight.1": 174.8, "part_weight.2": 175.1},
        {"cushion": 5.15, "part_weight.1": 175.0, "part_weight.2": 175.3},
    ]


def test_two_cavities_with_a_column_each_are_one_shot(tmp_path: Path) -> None:
    path = tmp_path / "press.csv"
    path.write_bytes(
        b"Cycle;Time;Cushion [mm];Part weight cavity 1 [g];Part weight cavity 2 [g]\n"
        b"101;2026-05-14T11:59:10Z;5.12;174.9;175.2\n"
        b"102;2026-05-14T12:00:00Z;5.08;174.8;175.1\n"
        b"103;2026-05-14T12:00:50Z;5.15;175.0;175.3\n"
    )

    shots, _ = shots_of(path)

    assert [shot.values for shot in shots] == [
        {"cushion": 5.12, "part_weight.1": 174.9, "part_weight.2": 175.2},
        {"cushion": 5.08, "part_weight.1": 174.8, "part_weight.2": 175.1},
        {"cushion": 5.15, "part_weight.1": 175.0, "part_weight.2": 175.3},
    ]


def test_bare_names_of_heated_places_are_temperatures_with_a_doubt(tmp_path: Path) -> None:
    path = tmp_path / "press.csv"
    path.write_bytes(
        b"Cycle,Time,Zone 1,Zone 2,Nozzle,Switch-over Position,Switch-over Pressure\n"
        b"101,2026-05-14T11:59:10Z,185,195,210,11.2,735\n102,2026-05-14T12:00:00Z,185,196,210,11.3,734\n"
        b"103,2026-05-14T12:00:50Z,186,195,211,11.1,736\n"
    )

    shots, doubts = shots_of(path)

    assert shots[0].values == pytest.approx(
        {
            "barrel_temperature.1": 185, "barrel_temperature.2": 195, "nozzle_temperature": 210,
            "switchover_position": 11.2, "switchover_melt_pressure": 73.5,
        }
    )
    assert doubts.count("does not say that it is a temperature") == 3


@pytest.mark.parametrize("groups", [b";;Injection;Injection;Recovery;Hold", b";;Injection;;Recovery;Hold"])
def test_names_that_come_twice_are_told_apart_by_the_row_above_them(tmp_path: Path, groups: bytes) -> None:
    path = tmp_path / "press.csv"
    path.write_bytes(
        groups + b"\nCycle;Date;Time;Pressure;Time;Pressure\n;;s;bar;s;bar\n"
        b"101;14.05.2026 11:59:10;1.93;742;18.4;402\n102;14.05.2026 12:00:00;1.92;741;18.5;401\n"
        b"103;14.05.2026 12:00:50;1.94;743;18.3;403\n"
    )

    shots, doubts = shots_of(path)

    assert [shot.counter for shot in shots] == COUNTERS[:3]
    assert shots[0].values == pytest.approx(
        {
            "injection_time": 1.93, "peak_melt_pressure": 74.2, "recovery_time": 18.4,
            "hold_melt_pressure": 40.2,
        }
    )
    assert "line 2 is passed over" in doubts


def test_common_words_of_a_small_german_export_are_found(tmp_path: Path) -> None:
    path = tmp_path / "press.csv"
    path.write_bytes(
        b"Zyklus,Zeit,T Zone 1,T Zone 2,Polster\n"
        b"101,2026-05-14 11:59:10,185.2,195.1,5.12\n102,2026-05-14 12:00:00,185.0,195.2,5.08\n"
        b"103,2026-05-14 12:00:50,185.1,195.0,5.15\n104,2026-05-14 12:01:40,185.3,195.3,5.10\n"
    )

    shots, doubts = shots_of(path)

    assert [shot.counter for shot in shots] == COUNTERS[:4]
    assert shots[0].values == {"barrel_temperature.1": 185.2, "barrel_temperature.2": 195.1, "cushion": 5.12}
    assert "does not say of what this is a zone" in doubts
