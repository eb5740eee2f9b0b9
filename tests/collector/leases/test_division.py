"""Which part a topic is in, and who takes what."""

from __future__ import annotations

from collections import Counter
from datetime import UTC, datetime, timedelta

from hypothesis import given
from hypothesis import strategies as st

from collector.contract.mapping_read import Mappings
from collector.contract.topics import gauging_topic, press_topic
from collector.leases.division import names, part_of, press_of_topic, takes
from collector.leases.plan import plan
from collector.settings_mapping import read_mapping_text
from collector.store.leases import Lease

NOW = datetime(2026, 11, 24, 10, tzinfo=UTC)
MAPPING = """
[[mapping]]
name = "hall"
topic = "plant/{site}/machine-{press}/cycle"
kind = "state"
presses = {"7" = "P7"}
fields.state = {constant = "running"}
[[mapping]]
name = "inside"
topic = "cell/cycle"
kind = "state"
press_pointer = "/press"
fields.state = {constant = "running"}
"""
MAPPINGS = Mappings(read_mapping_text(MAPPING, "the test"), "lowland")


def lease(part: int, holder: str | None, *, until: datetime = NOW + timedelta(seconds=3)) -> Lease:
    return Lease("lowland", f"c-{part}", part, 4, holder, until, 1, None)


def test_one_part_keeps_the_client_id_it_always_had() -> None:
    assert names("evenrun-collector", 1) == [("evenrun-collector", 1)]


@given(press=st.text(min_size=1, max_size=20), parts=st.integers(1, 64))
def test_every_press_is_in_exactly_one_part(press: str, parts: int) -> None:
    topic = f"evenrun/1/lowland/{press}/shot"
    takers = [part for part in range(1, parts + 1) if takes(part, parts, Mappings())(topic)]

    assert len(takers) == 1


def test_all_messages_of_a_press_are_in_the_part_of_its_name() -> None:
    kinds = ("shot", "run", "tray", "setpoints", "state")
    for press in ("P1", "P2", "P17"):
        taken = takes(part_of(press, 5), 5, Mappings())

        assert all(taken(press_topic("lowland", press, kind)) for kind in kinds)


def test_a_shop_of_presses_spreads_over_the_parts() -> None:
    counts = Counter(part_of(f"P{number}", 4) for number in range(1, 201))

    # 50 each if it were even; a binomial count of 200 and 1/4 lies within 24 of that in 999 of 1000 cases.
    assert set(counts) == {1, 2, 3, 4}
    assert all(abs(count - 50) < 24 for count in counts.values())


def test_a_foreign_topic_that_names_the_press_goes_with_our_name_of_it() -> None:
    assert press_of_topic("plant/lowland/machine-7/cycle", MAPPINGS) == "P7"
    assert press_of_topic("plant/lowland/machine-8/cycle", MAPPINGS) == "8"


def test_what_does_not_name_a_press_by_its_topic_is_in_the_first_part() -> None:
    for topic in (gauging_topic("lowland"), "cell/cycle", "nobody/knows"):
        assert takes(1, 3, MAPPINGS)(topic)
        assert not takes(2, 3, MAPPINGS)(topic)


def test_one_collector_takes_all_that_is_free_and_nothing_that_is_held() -> None:
    rows = [lease(1, None), lease(2, "other"), lease(3, "gone", until=NOW - timedelta(seconds=1))]

    decided = plan(rows, me="me", held=(), present=1, wall=NOW)

    assert [each.part for each in decided.take] == [1, 3]
    assert decided.give_up == ()


def test_a_collector_that_joins_is_given_its_even_portion() -> None:
    rows = [lease(part, "me") for part in (1, 2, 3, 4)]

    held = [each.name for each in rows]
    assert [each.part for each in plan(rows, me="me", held=held, present=2, wall=NOW).give_up] == [3, 4]
    assert plan(rows, me="new", held=(), present=2, wall=NOW).take == ()


def test_what_is_ours_in_the_store_alone_is_taken_once_more() -> None:
    rows = [lease(1, "me"), lease(2, "me")]

    decided = plan(rows, me="me", held=["c-1"], present=1, wall=NOW)

    assert [each.part for each in decided.take] == [2]


@given(
    holders=st.lists(st.sampled_from(["me", "other", None]), min_size=1, max_size=12),
    present=st.integers(1, 5),
)
def test_nothing_is_taken_while_something_is_given_up(holders: list[str | None], present: int) -> None:
    rows = [lease(part, holder) for part, holder in enumerate(holders, 1)]

    held = [each.name for each in rows if each.holder == "me"]
    decided = plan(rows, me="me", held=held, present=present, wall=NOW)

    assert not (decided.take and decided.give_up)
    assert all(each.holder is None for each in decided.take)
    assert all(each.holder == "me" for each in decided.give_up)
