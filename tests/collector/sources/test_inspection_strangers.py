"""Three whole exports written after descriptions of presses, not after the parser: what is proposed is right.

Names and units: the columns of EUROMAP 63 reports (ActStrCsh[1], ActPrsXfrSpec[1], ...), of OPC 40077
(TransferSpecificPressure, CushionStroke), and what setters write in German and American shops (common
practice, no source). The values are invented. Each column is held against what its writer meant, in canonical
units.
"""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest

from collector.contract.refusal import Refusal
from collector.contract.shot import Shot
from collector.sources import inspection, profiles
from collector.sources.csv_file import Import, read
from collector.sources.inspection import Known

NOW = datetime(2026, 11, 24, 12, 0, tzinfo=UTC)
PSI_MPA = 0.006894757  # NIST SP 811, from memory
SHORT_TON_KN = 8.896443  # 2000 lbf, NIST SP 811, from memory

GERMAN = """\
Spritzgießmaschine 7;;;;;;;;;;;;;;;
Protokoll vom 14.05.2026;;;;;;;;;;;;;;;
Auftrag: 4711;;;;;;;;;;;;;;;
Datum;Uhrzeit;Zyklus;Zykluszeit;Einspritzzeit;Dosierzeit;Massepolster;max. Spritzdruck;Umschaltdruck;\
T Zone 1;T Zone 2;T Zone 3;T Düse;Werkzeugtemp. DS;Werkzeugtemp. AS;Schließkraft
;;Nr.;Istwert;Istwert;Istwert;Istwert;Istwert;Istwert;Istwert;Istwert;Istwert;Istwert;Istwert;Istwert;Istwert
;;;s;s;s;mm;bar;bar;°C;°C;°C;°C;°C;°C;kN
14.05.2026;10.04.10;1006;50,2;1,93;18,4;5,12;742;735;185,2;195,1;205,0;210,1;38,2;36,1;902
14.05.2026;10.03.20;1005;50,1;1,92;18,5;5,08;741;734;185,0;195,3;205,2;210,0;38,1;36,2;901
14.05.2026;10.02.30;1004;50,1;1,94;18,3;5,15;744;736;185,1;195,0;205,1;209,9;38,3;36,0;899
;;;;;;;;;;;;;;;
14.05.2026;10.01.40;1003;50,2;1,93;18,4;5,10;743;735;185,3;195,2;204,9;210,2;38,0;36,1;903
14.05.2026;10.00.50;1002;50,0;1,91;18,6;5,11;740;733;185,2;195,1;205,0;210,0;38,2;36,3;900
14.05.2026;10.00.00;1001;50,1;1,92;18,4;5,09;742;734;184,9;195,0;205,1;210,1;38,1;36,2;902
"""

AMERICAN = """\
Cycle,Timestamp,Inj Press Max,Inj Time,VP Pos,VP Press,Cushion Pos,Screw Rec Time,Hold Time,Cool Time,\
Mold Open Time,Bbl Temp 1,Bbl Temp 2,Noz Temp,Water In Temp,Water Out Temp,Clamp Tons,Screw RPM,Back Press,\
Shot Wt
1,05/14/2026 08:00:00 AM,10762,1.93,0.44,10650,0.201,18.4,8.0,30.0,4.1,365,383,410,95.1,97.2,101.2,45,1150,\
174.9
2,05/14/2026 08:00:50 AM,10771,1.92,0.44,10662,0.203,18.5,8.0,30.0,4.3,365,383,410,95.0,97.1,101.1,45,1160,\
174.8
3,05/14/2026 08:01:40 AM,10748,1.94,0.45,10641,0.200,18.3,8.0,30.0,4.0,366,382,411,95.2,97.3,101.3,46,1140,\
175.0
4,05/14/2026 08:02:30 AM,10759,1.93,0.44,10655,0.202,18.4,8.0,30.0,4.2,365,383,410,95.1,97.2,101.2,45,1150,\
175.1
"""

REPORT = """\
DATE,TIME,COUNT,ActCntCyc,ActTimCyc,ActTimFill[1],ActTimPlst[1],ActStrCsh[1],ActVolCsh[1,1],ActStrXfr[1],
 ActPrsXfrSpec[1],ActPrsMachSpecMax,ActPrsHldSpecMax[1],ActTmpBrlZn[1,1],ActTmpBrlZn[1,2],
 ActTmpBrlZn[1,3],ActTmpMldZn[1],ActTmpOil,ActFrcClp,ActCntPrt,SetTimCyc,SetTmpBrlZn[1,1],"@Spec[1,2]"
20260514,100000,1,5120,50.21,1.93,18.41,5.12,12.4,11.2,
 735,742,402,185.2,195.1,
 0.0,38.2,45.1,902,88100,50.00,185,17
20260514,100050,2,5121,50.18,1.92,18.39,5.10,12.3,11.3,
 734,741,401,185.0,195.2,
 0.0,38.1,45.2,901,88101,50.00,185,18
DATE,TIME,COUNT,ActCntCyc,ActTimCyc,ActTimFill[1],ActTimPlst[1],ActStrCsh[1],ActVolCsh[1,1],ActStrXfr[1],
 ActPrsXfrSpec[1],ActPrsMachSpecMax,ActPrsHldSpecMax[1],ActTmpBrlZn[1,1],ActTmpBrlZn[1,2],
 ActTmpBrlZn[1,3],ActTmpMldZn[1],ActTmpOil,ActFrcClp,ActCntPrt,SetTimCyc,SetTmpBrlZn[1,1],"@Spec[1,2]"
20260514,100140,3,5122,50.23,1.94,18.43,5.11,12.5,11.1,
 736,743,403,185.1,195.0,
 0.0,38.3,45.1,903,88102,50.00,185,16
20260514,100230,4,5123,50.19,1.93,18.40,5.13,12.4,11.2,
 735,744,402,185.3,195.3,
 0.0,38.0,45.3,900,88103,50.00,185,17
"""


def celsius(fahrenheit: float) -> float:
    return (fahrenheit - 32) / 1.8


def imported(path: Path, content: bytes) -> tuple[list[Shot], str]:
    path.write_bytes(content)
    proposal = inspection.propose(path, Known(zone="UTC", now=NOW, press="P7", run="R-1"))
    profile = profiles.parse(inspection.as_toml(proposal), "proposed")
    records = list(read(path, profile, Import(site="lowland", now=NOW, received_at=NOW)))
    assert [record.sentence() for record in records if isinstance(record, Refusal)] == []
    return [record for record in records if isinstance(record, Shot)], "\n".join(proposal.sentences())


@pytest.mark.parametrize("encoding", ["latin-1", "utf-8", "utf-16"])
def test_a_german_setter_s_export(tmp_path: Path, encoding: str) -> None:
    shots, doubts = imported(tmp_path / "protokoll.csv", GERMAN.encode(encoding))

    assert [shot.counter for shot in shots] == [1001, 1002, 1003, 1004, 1005, 1006]
    assert shots[0].ended_at == datetime(2026, 5, 14, 10, 0, tzinfo=UTC)
    assert shots[0].values == pytest.approx(
        {
            "cycle_time": 50.1, "injection_time": 1.92, "recovery_time": 18.4, "cushion": 5.09,
            "peak_melt_pressure": 74.2, "switchover_melt_pressure": 73.4, "barrel_temperature.1": 184.9,
            "barrel_temperature.2": 195.0, "barrel_temperature.3": 205.1, "nozzle_temperature": 210.1,
            "mold_cavity_temperature": 38.1, "mold_core_temperature": 36.2, "clamp_force": 902,
        }
    )
    for word in ("newest row", "no zone", "rows above the data", "of what this is a zone"):
        assert word in doubts


def test_an_american_spreadsheet_without_a_single_unit(tmp_path: Path) -> None:
    shots, doubts = imported(tmp_path / "press 4.csv", AMERICAN.encode())

    assert [shot.counter for shot in shots] == [1, 2, 3, 4]
    assert shots[1].ended_at == datetime(2026, 5, 14, 8, 0, 50, tzinfo=UTC)
    assert shots[0].values == pytest.approx(
        {
            "peak_melt_pressure": 10762 * PSI_MPA, "injection_time": 1.93, "switchover_position": 0.44 * 25.4,
            "switchover_melt_pressure": 10650 * PSI_MPA, "cushion": 0.201 * 25.4, "recovery_time": 18.4,
            "hold_time": 8.0, "cooling_time": 30.0, "mold_open_time": 4.1,
            "barrel_temperature.1": celsius(365), "barrel_temperature.2": celsius(383),
            "nozzle_temperature": celsius(410), "coolant_supply_temperature": celsius(95.1),
            "coolant_return_temperature": celsius(97.2), "clamp_force": 101.2 * SHORT_TON_KN,
            "screw_speed": 45, "back_pressure": 1150 * PSI_MPA, "part_weight": 174.9,
        },
        rel=1e-6,
    )
    assert doubts.count("no unit is written") == 16  # all but the two whose names say it: tons and RPM


def test_a_report_of_the_old_interface(tmp_path: Path) -> None:
    shots, doubts = imported(tmp_path / "report.dat", REPORT.encode())

    assert [shot.counter for shot in shots] == [5120, 5121, 5122, 5123]
    assert shots[1].ended_at == datetime(2026, 5, 14, 10, 0, 50, tzinfo=UTC)
    assert shots[0].values == pytest.approx(
        {
            "cycle_time": 50.21, "injection_time": 1.93, "recovery_time": 18.41, "cushion": 5.12,
            "cushion_volume": 12.4, "switchover_position": 11.2, "switchover_melt_pressure": 73.5,
            "peak_melt_pressure": 74.2, "hold_melt_pressure": 40.2, "barrel_temperature.1": 185.2,
            "barrel_temperature.2": 195.1, "mold_temperature.1": 38.2, "oil_temperature": 45.1,
            "clamp_force": 902,
        }
    )
    assert shots[0].setpoints == {"barrel_temperature.1": 185}
    for word in ("white space", "header comes again", "no zone"):
        assert word in doubts
