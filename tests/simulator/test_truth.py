"""Definitions of the truth, on shots put together by hand."""

from datetime import UTC, datetime, timedelta

from simulator.records import SimShot, Truth
from simulator.truth import Interval, Tolerance, is_touched, out_of_tolerance, perfect_hold, touched

START = datetime(2026, 11, 16, 8, tzinfo=UTC)
ALLOWED = {"P1": Tolerance(2.9, 3.6), "P2": Tolerance(2.4, 3.0)}


def shot(
    counter: int,
    dome: float = 3.2,
    *,
    sound: float = 3.2,
    faults: tuple[str, ...] = (),
    scrapped: bool = False,
    press: str = "P1",
) -> SimShot:
    at = START + timedelta(minutes=counter)
    return SimShot(
        press=press,
        counter=counter % 100,  # somebody resets it now and then
        ended_at=at,
        run="R-0401",
        tray="P1-001",
        tray_position=1,
        values={},
        setpoints={},
        truth=Truth(
            counter=counter,
            ended_at=at,
            faults=faults,
            startup=False,
            lot="4463",
            dome_24h_mm=dome,
            diameter_24h_mm=211.0,
            weight_g=172.0,
            sound_dome_24h_mm=sound,
            scrapped=scrapped,
            fresh_dome_mm=0.6,
            fresh_diameter_mm=213.0,
        ),
    )


def test_a_shot_is_touched_by_a_fault_at_work_or_by_what_one_left_behind() -> None:
    assert is_touched(shot(1, faults=("stuck_sensor",)))
    assert is_touched(shot(1, 3.25))
    assert not is_touched(shot(1, 3.21))
    shots = [shot(1), shot(2, faults=("early_gate",)), shot(3)]
    assert touched(shots) == shots[1:2]


def test_a_disc_is_out_only_where_the_fault_made_it_so() -> None:
    by_fault, by_chance, thrown = shot(1, 3.61), shot(2, 3.7, sound=3.65), shot(3, 4.0, scrapped=True)
    on_the_bound, elsewhere = shot(4, 3.6), shot(5, 3.1, sound=2.8, press="P2")
    assert out_of_tolerance([by_fault, by_chance, thrown, on_the_bound, elsewhere], ALLOWED) == [
        by_fault,
        elsewhere,
    ]


def test_a_perfect_observer_holds_from_the_first_to_the_last_and_lets_a_tray_go_between() -> None:
    out = {100, 103, 128, 160}  # 24 sound shots after 103, 31 after 128
    shots = [shot(counter, 3.8 if counter in out else 3.2) for counter in range(90, 170)]
    shots.insert(20, shot(104, 3.1, sound=2.8, press="P2"))
    assert perfect_hold(shots, ALLOWED) == [
        Interval("P1", 100, 128),
        Interval("P2", 104, 104),
        Interval("P1", 160, 160),
    ]
    assert [len(hold) for hold in perfect_hold(shots, ALLOWED, apart=0)] == [1, 1, 1, 1, 1]


def test_an_interval_knows_a_shot_by_its_true_counter() -> None:
    hold = Interval("P1", 100, 128)
    assert shot(120) in hold
    assert shot(20) not in hold
    assert shot(120, press="P2") not in hold
