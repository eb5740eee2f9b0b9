"""Topic patterns against the examples of OASIS MQTT 5.0 section 4.7, and against paho's matcher."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from paho.mqtt.client import topic_matches_sub

from collector.contract.mapping_topic import check_pattern, covers, match_topic, subscription_filter

# Sections 4.7.1.2 and 4.7.1.3: pattern, topic, whether it matches.
PUBLISHED = [
    ("sport/tennis/player1/#", "sport/tennis/player1", True),
    ("sport/tennis/player1/#", "sport/tennis/player1/ranking", True),
    ("sport/tennis/player1/#", "sport/tennis/player1/score/wimbledon", True),
    ("sport/#", "sport", True),
    ("sport/tennis/+", "sport/tennis/player1", True),
    ("sport/tennis/+", "sport/tennis/player2", True),
    ("sport/tennis/+", "sport/tennis/player1/ranking", False),
    ("sport/+", "sport", False),
    ("sport/+", "sport/", True),
    ("/+", "/finance", True),
    ("+/finance", "/finance", True),
]


@pytest.mark.parametrize(("pattern", "topic", "matches"), PUBLISHED)
def test_the_examples_of_the_standard(pattern: str, topic: str, matches: bool) -> None:
    assert (match_topic(pattern, "x", topic) is not None) is matches


LEVEL = st.text(alphabet="ab7-", max_size=3)


@given(st.lists(st.one_of(LEVEL, st.just("+")), min_size=1, max_size=4), st.booleans(), st.data())
def test_it_matches_what_the_filter_matches(levels: list[str], rest: bool, data: st.DataObject) -> None:
    pattern = "/".join(["a", *levels, *(["#"] if rest else [])])
    topic = "/".join(["a", *data.draw(st.lists(LEVEL, min_size=1, max_size=5))])

    assert (match_topic(pattern, "x", topic) is not None) is topic_matches_sub(pattern, topic)


def test_named_levels_say_the_press_and_keep_to_the_own_site() -> None:
    pattern = "plant/{site}/machine-{press}/cycle"
    found = match_topic(pattern, "lowland", "plant/lowland/machine-7/cycle")

    assert found is not None
    assert found.press == "7"
    assert match_topic(pattern, "lowland", "plant/elsewhere/machine-7/cycle") is None
    assert match_topic(pattern, "lowland", "plant/lowland/robot-7/cycle") is None
    assert subscription_filter(pattern, "lowland") == "plant/lowland/+/cycle"


@pytest.mark.parametrize(
    ("pattern", "says"),
    [
        ("", "1 to 1000 signs"),
        ("a/#/b", "has # before its end"),
        ("a/b+", "has the level 'b\\+'"),
        ("a/{pres}", "has the level '{pres}'"),
        ("a/{press}/{press}", "the same part twice"),
        ("#", "evenrun's own topics"),
        ("+/+/+/+/shot", "evenrun's own topics"),
        ("{press}/#", "evenrun's own topics"),
        ("evenrun/2/x/shot", "evenrun's own topics"),
    ],
)
def test_what_is_no_pattern_is_said_in_one_sentence(pattern: str, says: str) -> None:
    with pytest.raises(ValueError, match=says):
        check_pattern(pattern)


def test_a_filter_within_another_is_not_subscribed_to_again() -> None:
    # Section 3.3.4: overlapping subscriptions may bring a message more than once.
    assert covers("plant/#", "plant/+/cycle")
    assert covers("plant/+/cycle", "plant/7/cycle")
    assert not covers("plant/+", "plant/#")
    assert not covers("plant/7/cycle", "plant/+/cycle")
    assert not covers("plant/+", "plant/+")


def test_a_first_level_with_the_press_is_taken_where_nothing_of_ours_fits() -> None:
    assert check_pattern("{press}/cycle") == "{press}/cycle"
