"""Readings of discs: the plan, the age, the error."""

from datetime import UTC, datetime, timedelta
from itertools import islice, pairwise

import numpy as np
import pytest

from simulator.gauging import GAUGES, gauge_disc, gaugings
from simulator.records import SimShot
from simulator.scenarios import live, plain

START = datetime(2026, 11, 16, tzinfo=UTC)


@pytest.fixture(scope="module")
def shots() -> list[SimShot]:
    return [r for r in plain(2, START, presses=2, shots=600) if isinstance(r, SimShot)]


def test_every_twentyfourth_disc_is_gauged_a_day_later_and_weighed_at_once(shots: list[SimShot]) -> None:
    readings = list(gaugings(shots, 2))
    domes = [reading for reading in readings if reading.characteristic == "dome"]
    assert len(domes) == 2 * 600 // 24
    assert all(24.0 <= reading.age_h <= 26.0 for reading in domes)
    assert all(r.age_h < 0.1 for r in readings if r.characteristic == "weight")
    assert all(a.gauged_at <= b.gauged_at for a, b in pairwise(readings))


def test_a_reading_names_its_disc_by_counter_or_by_tray_and_position(shots: list[SimShot]) -> None:
    by_place = {(shot.tray, shot.tray_position): shot for shot in shots}
    for reading in gaugings(shots, 2):
        shot = by_place[reading.tray, reading.tray_position]
        assert reading.counter == (shot.counter if reading.press == "P1" else None)
        assert reading.gauged_at - shot.ended_at == timedelta(hours=reading.age_h)


@pytest.mark.parametrize("characteristic", GAUGES)
def test_gauge_error_has_the_gauges_sigma(characteristic: str, shots: list[SimShot]) -> None:
    truth = {"dome": "dome_24h_mm", "diameter": "diameter_24h_mm", "weight": "weight_g"}[characteristic]
    errors = [
        reading.value - getattr(shot.truth, truth)
        for shot in shots
        for reading in gauge_disc(shot, 2, youngest_h=24.0, oldest_h=24.0)
        if reading.characteristic == characteristic
    ]
    sigma = np.hypot(GAUGES[characteristic].sigma, 10 ** -GAUGES[characteristic].decimals / np.sqrt(12))
    assert abs(np.mean(errors)) < 4 * sigma / np.sqrt(len(errors))
    assert np.std(errors) == pytest.approx(sigma, rel=0.1)


def test_asking_for_more_discs_changes_no_reading_already_taken(shots: list[SimShot]) -> None:
    usual = list(gaugings(shots, 2))
    more = list(gaugings(shots, 2, asked=lambda shot: shot.press == "P1" and 300 <= shot.counter < 320))
    assert set(usual) < set(more)
    assert len({(r.tray, r.tray_position) for r in set(more) - set(usual)}) in {19, 20}


def test_an_early_gauging_reads_a_flatter_disc(shots: list[SimShot]) -> None:
    early = gauge_disc(shots[100], 2, youngest_h=0.2, oldest_h=0.2)[1]
    assert early.characteristic == "dome"
    assert early.value < 0.6 * shots[100].truth.dome_24h_mm


def test_an_endless_story_is_gauged_as_its_time_passes() -> None:
    readings = list(islice(gaugings(live(2, START), 2), 400))
    assert any(reading.characteristic == "dome" for reading in readings)
    assert all(a.gauged_at <= b.gauged_at for a, b in pairwise(readings))
