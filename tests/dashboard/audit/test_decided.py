"""What became of each disc: different discs, whatever holds lie over them; counts worked out by hand."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from dashboard.audit import people
from dashboard.audit.decided import decided, sentences, span
from dashboard.audit.facts import AlarmFact
from tests.dashboard.audit.floor import NOW, START
from tests.dashboard.audit.test_sorted_holds import hold


def on(warm, *holds):
    return replace(warm.evidence, holds=holds)


def test_discs_on_two_holds_count_once_by_what_cannot_be_undone(warm):
    released = hold(id=1, state="released", first=0, last=99, closed_at=NOW)
    scrapped = hold(id=2, state="scrapped", first=50, last=149, closed_at=NOW + timedelta(days=1))
    found = decided(on(warm, released, scrapped))
    assert (found.discs, found.overlapping, found.at_odds) == (150, 50, 50)
    assert found.became == {"scrapped": 100, "released": 50}
    said = " ".join(sentences(found))
    assert "Of 150 different discs ever on hold: 100 scrapped, 50 released." in said
    assert "The holds of 50 discs disagree" in said
    again = decided(on(warm, scrapped, replace(released, closed_at=NOW + timedelta(days=2))))
    assert again.became == found.became  # no later release brings a scrapped disc back


def test_a_disc_stays_on_hold_while_any_of_its_holds_is_open(warm):
    released = hold(id=1, state="released", first=0, last=9)
    open_still = hold(id=2, state="open", first=5, last=14, closed_at=None, closed_by=None)
    found = decided(on(warm, released, open_still))
    assert found.became == {"open": 10, "released": 5}
    assert "Released by one hold, but still on another: 5 discs." in list(sentences(found))


def test_of_two_decisions_that_can_be_undone_the_later_counts(warm):
    first = hold(id=1, state="sorted", first=0, last=9, closed_at=NOW)
    then = hold(id=2, state="released", first=0, last=4, closed_at=NOW + timedelta(hours=1))
    assert decided(on(warm, first, then)).became == {"released": 5, "sorted": 5}


def test_a_hold_that_reaches_into_another_run_covers_its_part_of_this_one(warm):
    n = len(warm.evidence.shot_list)
    assert span(warm.evidence, hold(first=None, last=9)) == range(10)
    assert span(warm.evidence, hold(first=290, last=None)) == range(290, n)
    assert len(span(warm.evidence, hold(first=None, last=None))) == 0


@pytest.mark.parametrize(("hours", "after"), [(29.9, 1), (30.1, 0)])
def test_discs_gauged_after_they_were_scrapped_are_told(warm, hours, after):
    # The disc of place 0 was gauged 30 h after its shot; places 1 to 5 were not gauged.
    scrapped = hold(state="scrapped", first=0, last=5, closed_at=START + timedelta(hours=hours))
    found = decided(on(warm, scrapped))
    assert found.gauged_after == after
    assert any("Gauged after" in text for text in sentences(found)) is bool(after)


def test_nothing_is_said_where_nothing_was_on_hold(warm):
    assert list(sentences(decided(on(warm)))) == []


def alarm(**changes):
    fields = {
        "id": 7, "kind": "process", "state": "normal", "opened_at": START, "headline": "Mold core warmer",
        "first": 100, "last": 120, "change": None, "change_low": None, "change_high": None, "causes": (),
        "acknowledged_by": "operator 1", "acknowledged_at": START, "closed_by": "technician 1",
        "closed_at": NOW, "cause": "coolant line blocked", "note": None, "steps": (),
    }  # fmt: skip
    return AlarmFact(**(fields | changes))


def test_a_gauging_alarm_points_to_the_alarm_of_the_press_over_its_shots(warm):
    gauged = alarm(id=9, kind="gauging", headline="Dome 3.1 mm", first=130, last=130, cause=None)
    by_signals = replace(warm.evidence, alarms=(alarm(last=135), gauged), holds=())
    by_hold = replace(warm.evidence, alarms=(alarm(), gauged), holds=(hold(alarm_id=7, first=90, last=140),))
    elsewhere = replace(warm.evidence, alarms=(alarm(), gauged), holds=())
    for evidence in (by_signals, by_hold):
        told = people.over_same_shots(evidence, gauged)
        assert "alarm 7, cause given: coolant line blocked" in told
    assert people.over_same_shots(elsewhere, gauged) == ""
    assert people.over_same_shots(by_signals, by_signals.alarms[0]) == ""  # the press's own points nowhere


def test_the_conclusion_tells_alarms_with_open_holds_and_names_those_it_leaves_out(warm):
    quiet = [alarm(id=number, first=10, last=12) for number in (21, 22, 23)]
    still_open = hold(id=5, alarm_id=22, state="open", first=8, last=14, closed_at=None, closed_by=None)
    evidence = replace(warm.evidence, alarms=tuple(quiet), holds=(still_open,))
    texts = [each.text for each in people.acted(evidence, warm.found, warm.clock)]
    assert any(text.startswith("Alarm 22, ") for text in texts)
    assert any(text.startswith("Hold 5, ") and "still set aside" in text for text in texts)
    assert any(text.startswith("Alarms 21, 23 are told in section 4 alone") for text in texts)
