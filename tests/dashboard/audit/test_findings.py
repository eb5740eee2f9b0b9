"""What an audit finds in a run whose truth is known."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
import sqlalchemy as sa
from scipy import stats

from collector.keeping.archive import archive_run
from collector.settings import Settings
from collector.store import tables
from dashboard.audit import compare, disc_tables, render, words
from dashboard.audit.facts import Level
from dashboard.audit.gauged import one_a_disc
from tests.dashboard.audit import floor


def texts(audit):
    return " ".join(each.text for each in audit.conclusion.statements)


def history(audit, key):
    return next(each for each in audit.found.histories if each.key == key)


def test_the_shift_is_found_at_its_shot_with_levels_in_units(warm):
    core = history(warm, "mold_core_temperature")
    numbers = [warm.evidence.shot_list.number(each.place) for each in core.shifts]
    assert numbers == [str(floor.WARM.start), str(floor.WARM.stop)]
    assert core.shifts[0].before == pytest.approx(31.0, abs=0.05)
    assert core.shifts[0].after == pytest.approx(34.0, abs=0.05)
    assert history(warm, "injection_time").shifts == ()


def test_the_discs_and_trays_that_it_touched_are_named(warm):
    touched = [warm.evidence.shot_list.counters[place] for place in warm.found.touched]
    assert touched == list(floor.WARM)
    assert warm.evidence.shot_list.trays(warm.found.touched) == ("T26", "T27")
    assert "50 discs in trays T26 and T27: shots 650 to 699" in texts(warm)


def test_the_headline_says_what_differs_and_how_certain_that_is(warm):
    assert "not alike" in warm.conclusion.headline
    assert "mold core 3.0 °C warmer at shots 650 to 699 (50 discs)" in warm.conclusion.headline
    assert warm.conclusion.certainty == "clear"


def test_flagged_discs_are_compared_at_the_ages_they_were_gauged(warm):
    dome = warm.found.gauged[0]
    assert dome.characteristic == "dome"
    assert dome.readings == 50
    assert dome.joined == {"shot": 50}
    assert dome.ages.unknown == 0
    assert dome.ages.middle == pytest.approx(30.0)
    assert all(each.age_gap_h is None for each in dome.compared)


def test_touched_discs_differ_by_what_was_put_in_and_flagged_ones_no_more(warm):
    touched, flagged = warm.found.gauged[0].compared
    assert (touched.group, flagged.group) == ("touched", "flagged")
    gauged = range(floor.FIRST, floor.LAST + 1, 6)
    assert touched.difference.flagged == sum(counter in floor.WARM for counter in gauged)
    assert touched.difference.interval.low < 0.5 < touched.difference.interval.high
    # The hold may reach back to be safe, so sound discs may be among the flagged ones.
    assert 0 < flagged.difference.interval.estimate <= touched.difference.interval.estimate


def test_discs_gauged_at_another_age_are_no_clear_difference(tmp_path, audited):
    engine = floor.new_store(tmp_path)
    floor.store_run(engine, tmp_path)
    floor.gauge(engine, tmp_path, warm_age_h=70)
    found = audited(engine)
    first = found.found.gauged[0].compared[0]
    assert first.age_gap_h == pytest.approx(40, abs=0.1)
    assert "but they were gauged 40 h later" in found.conclusion.headline
    assert found.conclusion.certainty == "likely"
    engine.dispose()


def test_discs_are_compared_at_like_ages_where_there_are_enough(tmp_path, audited):
    engine = floor.new_store(tmp_path)
    floor.store_run(engine, tmp_path)
    floor.gauge(engine, tmp_path, every=3, warm_age_h=70, mixed=True)
    touched = audited(engine).found.gauged[0].compared[0]
    warm = [counter for counter in range(floor.FIRST, floor.LAST + 1, 3) if counter in floor.WARM]
    late = [counter for counter in warm if not counter // 3 % 2]
    assert touched.left_out == len(late)
    assert touched.difference.flagged == len(warm) - len(late)
    assert touched.age_gap_h is None
    assert touched.difference.interval.low < 0.5 < touched.difference.interval.high
    engine.dispose()


def test_discs_outside_the_tolerance_are_counted(warm):
    by_hand = [fact.value for fact in warm.evidence.gaugings if not 2.2 <= fact.value <= 3.0]
    assert warm.found.gauged[0].outside == len(by_hand)
    assert f"{len(by_hand)} of 50 gauged discs" in texts(warm)


def test_the_process_is_held_against_the_tolerance_with_an_interval(warm):
    """Ppk is the distance from the mean to the nearer limit over three sigma; scipy gives the sigma."""
    dome = next(each for each in warm.found.capable if each.characteristic == "dome")
    low, high = warm.evidence.tolerances["dome"]
    x = np.array(list(one_a_disc([f for f in warm.evidence.gaugings if f.characteristic == "dome"]).values()))
    expected = min(x.mean() - low, high - x.mean()) / (3 * stats.tstd(x))
    assert dome.discs == len(x)
    assert dome.result.ppk.estimate == pytest.approx(expected)
    assert dome.result.ppk.low < expected < dome.result.ppk.high
    assert any("settle little" in note for note in dome.result.notes)
    assert disc_tables.capabilities(warm).rows[0][0] == "Dome"


def test_without_a_tolerance_no_number_is_given(warm_run, audited):
    bare = audited(warm_run)
    assert bare.found.gauged[0].outside is None
    assert any("no tolerance is set for dome" in each for each in bare.conclusion.not_known)


def test_limits_are_those_that_judged_the_shots(warm, warm_run):
    limits = next(each for each in warm.evidence.in_force if each.key == "mold_core_temperature")
    assert limits.standing == "provisional"
    assert limits.approved_by is None
    # Ten startup shots, then the first 25 steady ones make the limits; the last of them is judged already.
    assert warm.evidence.shot_list.number(limits.first) == str(floor.FIRST + 10 + 24)
    with warm_run.connect() as conn:
        stored = conn.execute(
            sa.select(tables.signals.c.limits_id).where(tables.signals.c.key == "mold_core_temperature")
        )
        assert set(stored.scalars()) == {limits.limits_id}


def test_a_newer_version_of_the_limits_changes_nothing_but_a_remark(tmp_path, audited):
    engine = floor.new_store(tmp_path)
    floor.store_run(engine, tmp_path)
    before = audited(engine)
    with engine.begin() as conn:
        row = conn.execute(sa.select(tables.limits).where(tables.limits.c.key == "injection_time")).one()
        newer = {name: value for name, value in row._mapping.items() if name != "id"}
        newer |= {"version": 2, "run_id": None, "approved_by": "technician 1", "at": floor.NOW,
                  "baseline": {**row.baseline, "center": 9.9}}  # fmt: skip
        conn.execute(sa.insert(tables.limits).values(**newer))
    after = audited(engine)
    changed = [each for each in after.evidence.in_force if each.superseded]
    assert [each.key for each in changed] == ["injection_time"]
    assert [each.baseline for each in after.evidence.in_force] == [
        each.baseline for each in before.evidence.in_force
    ]
    assert after.found == before.found
    engine.dispose()


def test_signals_are_counted_as_stored(warm, warm_run):
    with warm_run.connect() as conn:
        stored = conn.execute(sa.select(sa.func.count()).select_from(tables.signals)).scalar_one()
    assert stored > 0
    assert sum(each.count for each in warm.evidence.signals) == stored


def test_signals_before_anything_moved_are_shown_too(warm):
    first = min(each.first for each in warm.evidence.signals if each.key == "mold_core_temperature")
    assert warm.evidence.shot_list.counters[first] <= floor.WARM.start + 2


def test_too_few_runs_give_no_judgment(warm):
    assert all(each.unusual_level is None for each in warm.found.against)
    assert any("0 other runs" in each for each in warm.conclusion.not_known)


def test_a_run_is_compared_with_others_of_its_kind_and_never_with_those_left_out(tmp_path, audited):
    engine = floor.new_store(tmp_path)
    for day in range(4):
        floor.store_run(
            engine, tmp_path, run=f"R-{day}", first=1000 * (day + 1), seed=day, warm=range(0),
            start=floor.START - timedelta(days=5 - day),
        )  # fmt: skip
    floor.store_run(engine, tmp_path)
    found = audited(engine)
    core = next(each for each in found.found.against if each.key == "mold_core_temperature")
    assert core.runs == 4
    assert core.unusual_level
    assert core.unusual_spread
    fill = next(each for each in found.found.against if each.key == "injection_time")
    assert not fill.unusual_level
    without = audited(engine, left_out=("R-0", "R-1"))
    assert [each.name for each in without.evidence.others] == ["R-2", "R-3"]
    engine.dispose()


def test_neither_a_trial_nor_an_archived_run_is_compared_and_the_archived_is_named(tmp_path, audited):
    engine = floor.new_store(tmp_path)
    for day in range(3):
        floor.store_run(
            engine, tmp_path, run=f"R-{day}", first=1000 * (day + 1), seed=day, warm=range(0),
            start=floor.START - timedelta(days=5 - day),
        )  # fmt: skip
    floor.store_run(engine, tmp_path)
    before = audited(engine)
    with engine.begin() as conn:
        conn.execute(sa.update(tables.runs).where(tables.runs.c.name == "R-1").values(trial=True))
        conn.execute(sa.update(tables.alarms).values(closed_at=floor.NOW))
        conn.execute(sa.update(tables.holds).values(state="released", closed_at=floor.NOW))
    archive_run(engine, 1, tmp_path / "archive", who="quality 1", clock=floor.CLOCK)
    found = audited(engine)
    assert [each.name for each in before.evidence.others] == ["R-0", "R-1", "R-2"]
    assert [each.name for each in found.evidence.others] == ["R-2"]
    assert "their values are in the archive: R-0." in render.html(found)
    engine.dispose()


def test_the_prediction_interval_is_the_published_one():
    # mean +- t(n - 1) s sqrt(1 + 1/n): Hahn and Meeker (1991), the t quantile from scipy.
    values = [31.0, 31.2, 30.9, 31.1, 31.3]
    low, high = compare.prediction(values)
    half = stats.t.ppf(0.975, 4) * np.std(values, ddof=1) * math.sqrt(1.2)
    assert (low + high) / 2 == pytest.approx(np.mean(values))
    assert (high - low) / 2 == pytest.approx(half)
    assert compare.prediction(values[:2]) is None


def test_a_level_inside_the_interval_is_usual_and_one_outside_is_not():
    others = [Level(key="x", n=9, mean=mean, sd=1.0) for mean in (10.0, 10.1, 9.9, 10.0)]
    assert not compare.against(Level(key="x", n=9, mean=10.05, sd=1.0), others).unusual_level
    assert compare.against(Level(key="x", n=9, mean=11.0, sd=1.0), others).unusual_level


def test_a_quiet_run_is_said_to_be_quiet_with_its_limits_named(tmp_path, audited):
    engine = floor.new_store(tmp_path)
    floor.store_run(engine, tmp_path, run="R-1", warm=range(0), seed=3)
    quiet = audited(engine, run="R-1")
    assert quiet.found.strong == ()
    assert "No lasting shift" in quiet.conclusion.headline
    assert quiet.conclusion.certainty == "weak"
    assert any("none of this run has been gauged" in each for each in quiet.conclusion.not_known)
    engine.dispose()


def test_settings_without_a_tolerance_of_the_mold_are_no_error(warm_run, audited):
    other = Settings.model_validate({"tolerance": {"Rowan 7": {"dome": {"low": 1.0}}}})
    assert audited(warm_run, settings=other).evidence.tolerances == {}


def test_limits_that_came_into_force_between_two_shots_are_found_by_their_time(tmp_path, audited):
    engine = floor.new_store(tmp_path)
    floor.store_run(engine, tmp_path)
    before = audited(engine)
    with engine.begin() as conn:
        of_limits = tables.events.c.kind == "limits"
        assert conn.execute(sa.update(tables.events).where(of_limits).values(shot_id=None)).rowcount == 2
    assert audited(engine).evidence.in_force == before.evidence.in_force
    engine.dispose()


def test_the_headline_says_the_mean_over_the_touched_shots_and_up_to_what(warm):
    """Its farthest level alone once stood for all of them."""
    (each,) = (found for found in warm.found.strong if found.key == "mold_core_temperature")
    uneven = replace(each, level=each.center + 2.7, farthest=3.5, farthest_shots=93, steps=3)
    even = replace(uneven, steps=1)
    told = "Mold core 2.7 °C warmer on average (up to 3.5 °C, over 93 shots)"
    assert words.moved(warm.evidence, uneven) == told
    assert words.moved(warm.evidence, even) == "Mold core 2.7 °C warmer"
