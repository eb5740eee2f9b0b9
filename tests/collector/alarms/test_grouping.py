"""Which alarm takes which signal. The distances are common practice, no source."""

from __future__ import annotations

from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from collector.alarms.grouping import JOIN_WITHIN_SHOTS, Candidate, assign
from tests.collector.alarms.facts import fact


def candidate(ref: int = 7, *keys: str, **changes: Any) -> Candidate:
    fields: dict[str, Any] = {
        "ref": ref, "kind": "process", "active": True, "quiet_shots": 0, "single": False,
        "keys": frozenset(keys or ("cushion",)),
    }  # fmt: skip
    return Candidate(**(fields | changes))


BAD_CUSHION = fact("cushion", "individuals")
DRIFT_IN_CORE = fact("mold_core_temperature", "cusum")


def refs(facts: list[Any], candidates: list[Candidate]) -> list[int | None]:
    return [group.ref for group in assign(facts, candidates)]


def test_signals_of_one_shot_open_one_alarm() -> None:
    (group,) = assign([DRIFT_IN_CORE, fact("part_weight")], [])
    assert group.ref is None
    assert len(group.facts) == 2


def test_an_active_alarm_takes_a_further_characteristic() -> None:
    assert refs([DRIFT_IN_CORE], [candidate(7, "cushion")]) == [7]


def test_an_alarm_that_fell_quiet_a_short_while_ago_takes_the_signal_too() -> None:
    last = candidate(7, active=False, quiet_shots=JOIN_WITHIN_SHOTS - 1)
    assert refs([fact()], [last]) == [7]


def test_after_a_longer_quiet_it_is_a_new_matter() -> None:
    assert refs([fact()], [candidate(7, active=False, quiet_shots=JOIN_WITHIN_SHOTS)]) == [None]


def test_a_single_bad_shot_is_an_alarm_of_its_own() -> None:
    (group,) = assign([BAD_CUSHION], [candidate(7, "injection_time", active=False, quiet_shots=3)])
    assert (group.ref, group.single) == (None, True)


def test_a_single_bad_shot_during_a_lasting_change_belongs_to_it() -> None:
    assert refs([BAD_CUSHION], [candidate(7, "mold_core_temperature")]) == [7]


def test_the_next_bad_shot_of_the_same_characteristic_joins_the_first() -> None:
    assert refs([BAD_CUSHION], [candidate(7, "cushion", single=True, active=False, quiet_shots=12)]) == [7]


def test_a_lasting_change_grows_out_of_the_small_alarm_of_its_first_bad_shot() -> None:
    assert refs([fact("cushion", "cusum")], [candidate(7, "cushion", single=True)]) == [7]


def test_a_bad_value_beside_the_start_of_a_lasting_change_is_part_of_it() -> None:
    (group,) = assign([BAD_CUSHION, DRIFT_IN_CORE], [])
    assert not group.single


def test_recipe_and_process_are_handled_apart() -> None:
    setting = fact("cooling_time", None, kind="setting")
    timer = fact("hold_time", "setting")
    groups = assign([setting, timer, fact()], [candidate(7, "cushion")])
    assert {(group.kind, group.ref): len(group.facts) for group in groups} == {
        ("recipe", None): 2,
        ("process", 7): 1,
    }


@given(
    st.lists(
        st.builds(
            fact,
            st.sampled_from(["cushion", "injection_time", "cooling_time"]),
            st.sampled_from(["individuals", "cusum", "setting"]),
        )
    ),
    st.lists(
        st.builds(
            candidate,
            st.integers(1, 50),
            st.sampled_from(["cushion", "injection_time"]),
            active=st.booleans(),
            quiet_shots=st.integers(0, 30),
            single=st.booleans(),
        ),
        max_size=4,
        unique_by=lambda one: one.ref,
    ),
)
def test_every_signal_goes_to_exactly_one_alarm(facts: list[Any], candidates: list[Candidate]) -> None:
    groups = assign(facts, candidates)
    assert sorted(map(id, facts)) == sorted(id(one) for group in groups for one in group.facts)
    named = [group.ref for group in groups if group.ref is not None]
    assert len(named) == len(set(named))
    new = [group.kind for group in groups if group.ref is None]
    assert len(new) == len(set(new))
