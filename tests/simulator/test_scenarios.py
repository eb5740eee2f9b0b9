"""The stories: in order, numbered on, the same for a seed, and true to what they say went wrong."""

from collections import defaultdict
from datetime import UTC, datetime, timedelta
from itertools import islice, pairwise

import numpy as np
import pytest

from simulator.faults import FAULTS
from simulator.records import SimEvent, SimRecord, SimShot
from simulator.scenarios import (
    live,
    live_episodes,
    ordinary_week,
    plain,
    standing_after,
    week_end,
    week_episodes,
)
from simulator.spans import Standing

MONDAY = datetime(2026, 11, 16, tzinfo=UTC)


@pytest.fixture(scope="module")
def week() -> list[SimRecord]:
    return list(ordinary_week(7, MONDAY))


@pytest.fixture(scope="module")
def by_press(week: list[SimRecord]) -> dict[str, list[SimShot]]:
    presses = defaultdict(list)
    for record in week:
        if isinstance(record, SimShot):
            presses[record.press].append(record)
    return presses


def moment(record: SimRecord) -> datetime:
    return record.ended_at if isinstance(record, SimShot) else record.at


def dome(shots: list[SimShot]) -> float:
    return float(np.mean([shot.truth.dome_24h_mm for shot in shots]))


def sound(shots: list[SimShot]) -> list[SimShot]:
    return [shot for shot in shots if not shot.truth.faults and not shot.truth.startup]


def test_the_week_is_in_time_order_and_ends_with_the_last_shift(week: list[SimRecord]) -> None:
    assert all(moment(a) <= moment(b) for a, b in pairwise(week))
    assert week_end(MONDAY) - timedelta(minutes=2) < moment(week[-1]) <= week_end(MONDAY)


def test_counters_and_trays_count_on_without_a_gap(by_press: dict[str, list[SimShot]]) -> None:
    assert by_press.keys() == {"P1", "P2"}
    for shots in by_press.values():
        assert all(b.counter == a.counter + 1 for a, b in pairwise(shots))
        assert [shot.tray_position for shot in shots[:26]] == [*range(1, 25), 1, 2]
        assert len({shot.tray for shot in shots}) == -(-len(shots) // 24)


def test_the_qualification_run_has_four_hundred_settled_shots_without_fault(
    by_press: dict[str, list[SimShot]],
) -> None:
    for shots in by_press.values():
        first = [shot for shot in shots if shot.run == shots[0].run]
        assert len(sound(first)) >= 400
        assert first[-1].ended_at < MONDAY


def test_every_start_and_lunch_makes_startup_shots(by_press: dict[str, list[SimShot]]) -> None:
    starts = [b for a, b in pairwise(by_press["P1"]) if b.truth.startup and not a.truth.startup]
    assert len(starts) == 10  # five mornings, five lunches; the first start has no shot before it


def test_faults_are_at_work_when_and_where_the_story_says(by_press: dict[str, list[SimShot]]) -> None:
    for episode in week_episodes(MONDAY):
        for shot in by_press[episode.press]:
            if episode.fault in shot.truth.faults:
                assert episode.start < shot.ended_at < episode.end + timedelta(seconds=70)
    named = {name for shots in by_press.values() for shot in shots for name in shot.truth.faults}
    assert {episode.fault for episode in week_episodes(MONDAY)} <= named


def test_tuesdays_clogged_line_raises_dome_by_half_a_millimeter_or_more(
    by_press: dict[str, list[SimShot]],
) -> None:
    ill = [shot for shot in by_press["P2"] if "blocked_coolant_core" in shot.truth.faults]
    usual = dome(sound(by_press["P2"]))
    assert dome(ill[-100:]) - usual == pytest.approx(0.75, abs=0.25)
    assert dome(ill[:10]) - usual < 0.15


def test_the_new_lot_is_announced_and_set_aside(week: list[SimRecord]) -> None:
    lots = [
        (event.at, event.payload["lot"])
        for event in week
        if isinstance(event, SimEvent) and event.kind == "run" and event.press == "P1"
    ]
    changed = [at for (at, lot), (_, before) in zip(lots[1:], lots, strict=False) if lot != before]
    assert len(changed) == 2
    assert MONDAY + timedelta(hours=14) < changed[0] < MONDAY + timedelta(hours=15)


def test_sound_days_differ_little_from_the_qualification(by_press: dict[str, list[SimShot]]) -> None:
    """Day and night stay well below one sigma of what is charted.

    By chance alone the difference of two means of some hundreds of autocorrelated shots is 0.1 to 0.2 sigma.
    """
    for shots in by_press.values():
        base = sound([shot for shot in shots if shot.run == shots[0].run])
        for key in ("injection_time", "peak_melt_pressure", "cushion", "part_weight", "cycle_time"):
            mean, sigma = (f([shot.values[key] for shot in base]) for f in (np.mean, np.std))
            friday = [shot.values[key] for shot in sound(shots) if shot.ended_at > MONDAY + timedelta(days=4)]
            assert abs(np.mean(friday) - mean) < 0.5 * sigma, key


def test_the_same_seed_tells_the_same_week(week: list[SimRecord]) -> None:
    assert list(islice(ordinary_week(7, MONDAY), 1500)) == week[:1500]
    other = next(record for record in ordinary_week(8, MONDAY) if isinstance(record, SimShot))
    assert other != next(record for record in week if isinstance(record, SimShot))


@pytest.mark.parametrize(
    "start",
    [datetime(2026, 11, 17, tzinfo=UTC), datetime(2026, 11, 16, 6, tzinfo=UTC), MONDAY.replace(tzinfo=None)],
)
def test_a_week_that_does_not_begin_on_monday_midnight_is_refused(start: datetime) -> None:
    with pytest.raises(ValueError, match=r"Monday|time zone"):
        ordinary_week(7, start)


def test_live_goes_on_from_the_week_without_startup(by_press: dict[str, list[SimShot]], week) -> None:
    standing = standing_after(week)
    shots = [r for r in islice(live(7, week_end(MONDAY), standing=standing), 40) if isinstance(r, SimShot)]
    first = {press: next(shot for shot in shots if shot.press == press) for press in ("P1", "P2")}
    for press, shot in first.items():
        assert shot.counter == by_press[press][-1].counter + 1
        assert shot.tray not in {old.tray for old in by_press[press]}
        base = sound(by_press[press])
        for key in ("peak_melt_pressure", "mold_core_temperature", "cushion"):
            values = [old.values[key] for old in base]
            assert abs(shot.values[key] - np.mean(values)) < 5 * np.std(values), key


def test_lives_first_fault_comes_after_twenty_minutes_and_is_plain_within_forty_shots() -> None:
    start = week_end(MONDAY)
    shots = [r for r in islice(live(3, start), 240) if isinstance(r, SimShot) and r.press == "P2"]
    ill = [shot for shot in shots if shot.truth.faults]
    before = [shot.values["mold_core_temperature"] for shot in shots if not shot.truth.faults]
    assert timedelta(minutes=20) <= ill[0].ended_at - start <= timedelta(minutes=23)
    late = np.mean([shot.values["mold_core_temperature"] for shot in ill[20:40]])
    assert late > np.mean(before) + 10 * np.std(before)


def test_live_faults_follow_one_another_with_sound_hours_between() -> None:
    episodes = list(islice(live_episodes(3, MONDAY), 30))
    for one, two in pairwise(episodes):
        assert one.end - one.start == timedelta(hours=2)
        assert two.start - one.end >= timedelta(hours=1)
    assert len({episode.fault for episode in episodes}) == 6
    assert {episode.press for episode in episodes} == {"P1", "P2"}


def test_live_never_ends() -> None:
    records = list(islice(live(3, MONDAY, presses=3), 3000))
    assert len(records) == 3000
    assert all(moment(a) <= moment(b) for a, b in pairwise(records))


def test_a_plain_story_makes_the_shots_asked_for_on_each_press() -> None:
    shots = [r for r in plain(1, MONDAY, presses=7, shots=30) if isinstance(r, SimShot)]
    assert {press: sum(shot.press == press for shot in shots) for press in {s.press for s in shots}} == {
        f"P{number}": 30 for number in range(1, 8)
    }


def test_a_plain_storys_fault_begins_where_asked() -> None:
    records = plain(1, MONDAY, presses=2, shots=120, fault="worn_check_ring", fault_at_shot=60)
    shots = [record for record in records if isinstance(record, SimShot)]
    ill = [shot.counter for shot in shots if "worn_check_ring" in shot.truth.faults]
    assert 58 <= ill[0] <= 62
    assert {shot.press for shot in shots if shot.truth.faults} == {"P1"}
    assert standing_after(shots) == {"P1": Standing(counter=120, tray=5), "P2": Standing(counter=120, tray=5)}


@pytest.mark.parametrize("name", FAULTS)
def test_a_plain_story_can_have_any_fault(name: str) -> None:
    records = plain(1, MONDAY, shots=120, fault=name, fault_at_shot=40)
    shots = [record for record in records if isinstance(record, SimShot)]
    ill = [shot.truth.counter for shot in shots if name in shot.truth.faults]
    if name == "lost_messages":
        assert 60 < len(shots) < 120
    elif FAULTS[name].ordinary:
        assert not ill
    else:
        assert 38 <= ill[0] <= 75  # at the latest after half of the hopper
