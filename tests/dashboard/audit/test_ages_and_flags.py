"""Which discs are compared, and which holds flag: said where the Dome page and an audit differ."""

from __future__ import annotations

from dataclasses import replace

import pytest

from dashboard.audit import figures, gauged, words
from dashboard.blocks import dome_words
from tests.dashboard.audit import floor
from tests.dashboard.audit.test_decided import alarm
from tests.dashboard.audit.test_sorted_holds import hold


def test_discs_left_out_for_their_age_are_told_by_number_reason_and_effect(tmp_path, audited):
    engine = floor.new_store(tmp_path)
    floor.store_run(engine, tmp_path)
    floor.gauge(engine, tmp_path, every=3, warm_age_h=70, mixed=True)
    first = audited(engine).found.gauged[0].compared[0]
    (told,) = [text for text in words.reasons("dome", "mm", first) if "left out" in text]
    assert told.startswith(f"{first.left_out} discs left out, gauged more than 12 h earlier or later")
    # All warm discs against all others, whatever their age: the numbers of the Dome page.
    gauged_shots = range(floor.FIRST, floor.LAST + 1, 3)
    warm = sum(counter in floor.WARM for counter in gauged_shots)
    assert f"{warm} against {len(gauged_shots) - warm})" in told
    # Late discs creep on by 0.3 mm until they are gauged, so with them more seems due to the warm mold.
    assert first.at_all_ages.interval.estimate == pytest.approx(0.65, abs=0.06)
    assert f"{first.at_all_ages.interval.estimate:.2f} mm higher" in told
    engine.dispose()


def test_the_dome_page_names_its_rule_of_ages():
    said = dome_words.apart([], "dome", 0)
    assert "from 24 h after molding on count, whatever their age" in said
    assert "a run audit compares discs of like age" in said


def test_only_holds_of_alarms_of_the_press_flag_and_are_drawn_beside_readings(warm):
    ours, gauging = hold(id=1, alarm_id=7, first=10, last=19), hold(id=2, alarm_id=9, first=200, last=209)
    alarms = (alarm(), alarm(id=9, kind="gauging"))
    evidence = replace(warm.evidence, alarms=alarms, holds=(ours, gauging))
    bare = replace(evidence, holds=())
    assert gauged.flagging(evidence) == [ours]
    assert gauged.flagged(evidence) - gauged.flagged(bare) <= set(range(10, 20))
    drawn = figures._holds(evidence, gauged.flagging(evidence))
    assert drawn.to_numpy().tolist() == [[floor.FIRST + 10, floor.FIRST + 19]]
    assert len(figures._holds(evidence, evidence.holds)) == 2


def test_readings_from_before_the_set_time_are_told_by_number_and_reason(tmp_path, audited):
    engine = floor.new_store(tmp_path)
    floor.store_run(engine, tmp_path)
    floor.gauge(engine, tmp_path, warm_age_h=5)
    found = audited(engine)
    early = sum(counter in floor.WARM for counter in range(floor.FIRST, floor.LAST + 1, 6))
    (dome,) = found.found.gauged
    assert (dome.provisional, dome.discs) == (early, dome.readings - early)
    (told,) = [text for text in found.conclusion.not_known if "gauged too early" in text]
    assert f"{early} readings from before 24 h left out" in told
    engine.dispose()
