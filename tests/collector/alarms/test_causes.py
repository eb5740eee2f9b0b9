"""The fault table against patterns of the trade (common practice, no source), and its safety text."""

from __future__ import annotations

import pytest

from collector.alarms.causes import SCATTERED, match, to_name
from collector.alarms.cautions import CAUTIONS, GENERAL
from collector.alarms.fault_table import FAULTS
from collector.contract import quantities

STEADY = dict.fromkeys(
    (
        "injection_time", "peak_melt_pressure", "cushion", "recovery_time", "mold_core_temperature",
        "mold_cavity_temperature", "cycle_time", "part_weight",
    ),
    0,
)  # fmt: skip


@pytest.mark.parametrize(
    ("moved", "single", "cause"),
    [
        ({"peak_melt_pressure": 1, "recovery_time": 1}, False, "Stiffer melt: a new lot"),
        ({"mold_core_temperature": 1, "coolant_flow": -1}, False, "Coolant line blocked"),
        ({"cushion": -1, "part_weight": -1}, False, "Worn check ring"),
        ({"cushion": -1, "peak_melt_pressure": -1}, True, "Check ring did not seat"),
        ({"cushion": -1}, True, "Check ring did not seat"),
        ({"cooling_time": -1, "cycle_time": -1}, False, "Cooling timer"),
        ({"barrel_temperature.2": -1, "recovery_time": 1}, False, "A heater band is open"),
        ({"barrel_temperature.2": 1, "peak_melt_pressure": -1}, False, "A heater's switch"),
        ({"coolant_supply_temperature": 1, "mold_core_temperature": 1, "mold_cavity_temperature": 1}, False,
         "Chiller"),
        ({"injection_time": 1, "recovery_time": 1}, False, "Stiffer melt while injection sits"),
        ({"back_pressure": -1, "recovery_time": -1}, False, "Back pressure lost"),
        ({"recovery_time": 1, "cushion": -1, "cycle_time": 1}, False, "Material bridges"),
        ({"mold_cavity_temperature": -1}, False, "One mold half"),
    ],
)  # fmt: skip
def test_a_pattern_names_the_cause_it_is_often_seen_with(
    moved: dict[str, int], single: bool, cause: str
) -> None:
    found = match(STEADY | moved, single=single)
    assert found[0].name.startswith(cause), [one.name for one in found]


@pytest.mark.parametrize("half", ["mold_core_temperature", "mold_cavity_temperature"])
@pytest.mark.parametrize("flow", [{}, {"coolant_flow": -1}])
def test_a_lighter_part_fits_a_mold_half_that_lost_its_coolant(half: str, flow: dict[str, int]) -> None:
    lighter = match(STEADY | {half: 1, "part_weight": -1} | flow)[0]
    assert lighter.name == "Coolant line blocked or valve closed"
    assert "part weight lower" in lighter.reason
    assert "Does not fit" not in lighter.reason
    as_before = match(STEADY | {half: 1} | flow)[0]
    assert as_before.name == lighter.name
    assert "Does not fit" not in as_before.reason


@pytest.mark.parametrize(
    "moved",
    [{"peak_melt_pressure": 1}, {"peak_melt_pressure": 1, "injection_time": 1}, {"recovery_time": 1}],
)
def test_a_cause_whose_key_symptom_stayed_away_comes_after_those_that_fit_wholly(
    moved: dict[str, int],
) -> None:
    """What to look at first is what nothing contradicts (a rule of this service, not of the trade)."""
    found = match(STEADY | {"barrel_temperature.2": 0} | moved, most=len(FAULTS))
    wholly = [place for place, each in enumerate(found) if each.borne_out]
    assert all("Does not fit" not in found[place].reason for place in wholly)
    contradicted = [place for place, each in enumerate(found) if each.contradicted]
    band = next(each for each in found if each.name == "A heater band is open")
    assert band.contradicted
    assert not wholly or max(wholly) < min(contradicted)
    named = to_name([each.to_json() for each in found])
    assert named in (None, *(each.name for each in found if "Does not fit" not in each.reason))


def test_checks_at_the_mold_are_made_from_outside_the_guards() -> None:
    fault = next(fault for fault in FAULTS if fault.name.startswith("Coolant line"))
    assert any("from outside the guards whether a valve" in check for check in fault.operator)
    gates = [fault.name for fault in FAULTS if "gate:" in fault.name]
    assert gates == ["Operator-paced safety gate: uneven time with the mold open"]


def test_nothing_moved_names_nothing() -> None:
    assert match(STEADY) == []
    assert match({}) == []


def test_a_characteristic_that_no_row_knows_names_nothing() -> None:
    assert match(STEADY | {"color_dose": 1}) == []


def test_the_reason_says_what_fits_and_what_does_not() -> None:
    first = match(STEADY | {"peak_melt_pressure": 1, "recovery_time": 1, "cycle_time": 1})[0]
    assert "peak melt pressure higher" in first.reason
    assert "Does not fit: " in first.reason
    assert "cycle time higher" in first.reason


def test_the_score_ranks() -> None:
    scores = [cause.score for cause in match(STEADY | {"cushion": -1, "recovery_time": 1})]
    assert len(scores) > 1
    assert scores == sorted(scores, reverse=True)


def test_every_row_is_reachable_by_one_of_its_own_patterns() -> None:
    signs = {"+": 1, "-": -1, "+?": 1, "-?": -1, "=": 0, "~": SCATTERED}
    for fault in FAULTS:
        directions = {key: signs[sign] for key, sign in fault.patterns[0].items()}
        found = match(directions, single=fault.tempo == ("single",), most=len(FAULTS))
        assert fault.name in [cause.name for cause in found]


def test_every_row_speaks_of_known_quantities() -> None:
    for fault in FAULTS:
        for pattern in fault.patterns:
            assert all(quantities.find(key) for key in pattern), fault.name


def test_rows_are_distinct_and_have_checks() -> None:
    assert len({fault.name for fault in FAULTS}) == len(FAULTS) == 28
    assert all(fault.operator for fault in FAULTS)


def test_every_cause_ends_with_the_general_caution() -> None:
    for fault in FAULTS:
        key, sign = next(item for item in fault.patterns[0].items() if item[1] != "=")
        for cause in match({key: -1 if sign == "-" else 1}, most=len(FAULTS)):
            assert cause.cautions[-1] == GENERAL


def test_no_operator_is_told_to_raise_a_temperature_or_to_touch_a_guard() -> None:
    """The rule of this service, not of the trade; the words are those a check would have to use."""
    told = " ".join(check.lower() for fault in FAULTS for check in fault.operator)
    for verb in (
        "raise",
        "increase",
        "turn up",
        "heat",
        "open the guard",
        "open the gate",
        "remove",
        "bypass",
    ):
        assert f"{verb} " not in told.replace("heater ", "")


def test_work_that_opens_something_carries_its_caution() -> None:
    for fault in FAULTS:
        work = " ".join(fault.technician).lower()
        if "lockout" in work or "band" in work:
            assert {"servicing", "electrical"} & set(fault.hazards), fault.name


def test_every_caution_is_used() -> None:
    assert {hazard for fault in FAULTS for hazard in fault.hazards} == set(CAUTIONS)
