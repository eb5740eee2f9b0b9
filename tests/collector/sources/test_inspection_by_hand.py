"""Files that somebody made by hand: what their abbreviations and German words are taken for, and said.

What such columns are called: common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path

import pytest

from collector.errors import UserError
from collector.sources import inspection
from collector.sources.inspection import Known, Proposal
from tests.collector.sources.test_inspection_traps import NOW, table


def proposal(folder: Path, content: str, **known: object) -> Proposal:
    path = folder / "by-hand.csv"
    path.write_text(content, encoding="latin-1")
    return inspection.propose(path, Known(zone="UTC", now=NOW, press="P1", **known))  # type: ignore[arg-type]


def keys(found: Proposal) -> dict[str, str]:
    mapping = found.mapping
    every = mapping.characteristics if found.kind == "gaugings" else [*mapping.values, *mapping.setpoints]
    return {each.column.name: each.key for each in every}


def at(number: int) -> str:
    return f"2026-11-24 10:{number:02}:00"


def gauged(name: str) -> str:
    def row(number: int) -> str:
        dome = f"{3 + math.sin(number) / 10:.2f}".replace(".", ",")
        return f"{number};24.11.2026 10:{number:02}:00;{dome};Ole"

    return table(f"Schuss;Zeit;{name};Prüfer", row)


@pytest.mark.parametrize("name", ["Wölbung mm", "Dom mm", "Domhöhe [mm]", "Dome mm"])
def test_a_german_dome_is_a_gauging(tmp_path: Path, name: str) -> None:
    found = proposal(tmp_path, gauged(name))

    assert (found.kind, found.head["counter_column"], keys(found)) == ("gaugings", "Schuss", {name: "dome"})


@pytest.mark.parametrize(("name", "key"), [("Abstand mm", "abstand"), ("Messwert", "messwert")])
def test_the_kind_that_is_said_steers_the_proposal(tmp_path: Path, name: str, key: str) -> None:
    guessed = proposal(tmp_path, gauged(name))
    assert guessed.kind == "shots"
    assert any("these are shots is a guess" in each for each in guessed.sentences())

    told = proposal(tmp_path, gauged(name), kind="gaugings")

    assert (told.kind, keys(told)) == ("gaugings", {name: key})
    assert any("measured on the disc" in each for each in told.sentences())


def test_a_quantity_of_a_press_is_no_gauging_whatever_is_said(tmp_path: Path) -> None:
    content = table("Shot;Time;Cycle time s", lambda n: f"{n};2026-11-24 10:{n:02}:00;45.{n % 7}")

    with pytest.raises(UserError, match="no column that could be a value of gaugings"):
        proposal(tmp_path, content, kind="gaugings")


def test_the_mold_half_on_the_nozzle_side_is_not_the_nozzle(tmp_path: Path) -> None:
    found = proposal(
        tmp_path,
        table(
            "Schuss;Zeit;Werkzeugtemp. Düse;Düse Temp",
            lambda n: f"{n};24.11.2026 10:{n:02}:00;{40 + n % 3};{220 + n % 3}",
        ),
    )

    assert keys(found) == {
        "Werkzeugtemp. Düse": "mold_cavity_temperature", "Düse Temp": "nozzle_temperature",
    }  # fmt: skip
    assert any("mold half on the nozzle's side" in each for each in found.sentences())


SHORT: dict[str, tuple[str, Callable[[int], float], str]] = {
    "INJ_T": ("injection_time", lambda n: 2.4 + n % 5 / 100, "T is taken for time, but may mean temperature"),
    "P_MAX": ("peak_melt_pressure", lambda n: 742.0 + n % 5, "P is taken for pressure"),
    "CUSH": ("cushion", lambda n: 6 + n % 7 / 100, "no unit is written"),
    "CYC": ("cycle_time", lambda n: 45 + n % 5 / 10, "CYC is taken for time"),
    "W": ("part_weight", lambda n: 174 + n % 5 / 10, "W is taken for weight"),
    "HOLD_P": ("hold_melt_pressure", lambda n: 400.0 + n % 3, "P is taken for pressure"),
}


def test_abbreviations_are_proposed_each_with_its_doubt(tmp_path: Path) -> None:
    found = proposal(
        tmp_path,
        table(
            ";".join(("SHOT", "TIME", *SHORT)),
            lambda n: ";".join([f"{n};{at(n)}", *(f"{of(n):.2f}" for _, of, _ in SHORT.values())]),
        ),
    )

    assert keys(found) == {name: key for name, (key, _, _) in SHORT.items()}
    for name, (key, _, doubt) in SHORT.items():
        own = [each for each in found.sentences() if each.startswith(f"column {name!r} as {key}: ")]
        assert any(doubt in each for each in own)


@pytest.mark.parametrize("head", ["INJ_T [degC]", "T_MELT [degC]"])
def test_a_unit_that_is_written_says_what_a_letter_means(tmp_path: Path, head: str) -> None:
    found = proposal(tmp_path, table(f"SHOT;TIME;{head}", lambda n: f"{n};{at(n)};{230 + n % 3}"))

    assert [(each.unit, each.key.endswith("time")) for each in found.mapping.values] == [("degC", False)]


def test_a_count_of_cycles_stays_the_counter(tmp_path: Path) -> None:
    found = proposal(tmp_path, table("CYC;TIME;CUSH", lambda n: f"{n};2026-11-24 10:{n:02}:00;6.{n:02}"))

    assert (found.head["counter_column"], keys(found)) == ("CYC", {"CUSH": "cushion"})


def test_what_is_left_out_and_looks_like_a_quantity_is_said(tmp_path: Path) -> None:
    found = proposal(
        tmp_path,
        table(
            "Shot;Time;Cushion mm;Peak pressure bar;Lot;X7;Zone 9;Start",
            lambda n: f"{n};2026-11-24 10:{n:02}:00;6.{n:02};{n}a;L{n};{n % 3};0;10:{n:02}",
        ),
    )

    said = [each for each in found.checks() if each.startswith("left out: ")]
    assert [each.split(":")[1] for each in said] == [" column 'Peak pressure bar'", " column 'X7'"]


def cut(number: int) -> str:
    return f"{number},{at(number)},\n6.{number:02},{742 + number},\n45.{number % 7}"


def test_records_that_are_cut_after_a_delimiter_are_told(tmp_path: Path) -> None:
    found = proposal(tmp_path, table("Shot,Time,\nCushion mm,Peak pressure bar,\nCycle time s", cut))

    assert any("cut into 3 lines after a ','" in each for each in found.sentences())


def test_records_that_are_cut_are_read_once_a_space_is_put_before_what_goes_on(tmp_path: Path) -> None:
    head = "Shot,Time,\n Cushion mm,Peak pressure bar,\n Cycle time s"
    whole = table(head, lambda n: cut(n).replace("\n", "\n "))
    found = proposal(tmp_path, whole)

    assert found.head["wrapped_lines"] is True
    assert set(keys(found).values()) == {"cushion", "peak_melt_pressure", "cycle_time"}


@pytest.mark.parametrize("last", ["", "{n}"])
def test_rows_with_a_delimiter_at_their_end_are_not_cut(tmp_path: Path, last: str) -> None:
    found = proposal(
        tmp_path,
        table(
            "Shot,Time,Cushion mm,Zone 9",
            lambda n: f"{n},{at(n)},6.{n:02}," + last.format(n="" if n % 2 else str(n)),
        ),
    )

    assert not any("is cut" in each or "be cut" in each for each in found.sentences())


def test_only_rows_are_counted_as_records(tmp_path: Path) -> None:
    """Not the opening and the closing of the run, nor a header that comes again."""
    head = "Shot;Time;Cushion mm"
    content = table(head, lambda n: f"{n};{at(n)};6.{n:02}") + f"{head}\n41;{at(41)}\n"

    found = proposal(tmp_path, content, run="R-1")

    assert any("of the first 41 records 1 would be refused" in each for each in found.sentences())
