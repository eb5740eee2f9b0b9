"""Levels that only scatter are joined; shifts that outlast the scatter beside them stay."""

from __future__ import annotations

import numpy as np
import pytest

from rules.change_point import beyond_scatter, many, penalty_of


def paced(seed: int = 3) -> np.ndarray:
    """A time kept to 0.05 s by the press, but for 250 shots that a hand paces: 8 s less, scatter 3 s."""
    x = 62.0 + 0.05 * np.random.default_rng(seed).standard_normal(700)
    x[300:550] += -8.0 + 3.0 * np.random.default_rng(seed + 1).standard_normal(250)
    return x


@pytest.mark.parametrize("seed", range(8))
def test_a_stretch_that_scatters_more_is_one_level(seed: int) -> None:
    x = paced(seed)
    found = many(x)
    assert len(found) > 20  # one sigma for the whole series takes its scatter for levels
    first, last = beyond_scatter(x, found)
    assert abs(first.index - 300) <= 3
    assert abs(last.index - 550) <= 6  # the last shots of the stretch may lie near the level after it
    assert first.low <= 300 <= first.high
    assert first.after == pytest.approx(x[first.index : last.index].mean())


@pytest.mark.parametrize("seed", range(8))
def test_shifts_of_a_series_of_like_scatter_stay_as_they_are(seed: int) -> None:
    x = np.random.default_rng(seed).standard_normal(400)
    x[100:160] += 4.0
    x[300:] -= 3.0
    found = many(x)
    kept = beyond_scatter(x, found)
    assert len(found) == 3
    assert [each.index for each in kept] == [each.index for each in found]
    assert [each.after for each in kept] == pytest.approx([each.after for each in found])


def test_a_timer_without_scatter_keeps_its_shifts_and_missing_values_their_places() -> None:
    x = np.full(120, 39.0)
    x[60:] = 36.0
    x[::7] = np.nan
    (only,) = beyond_scatter(x, many(x, sigma=0.005, phi=0.0), sigma=0.005, phi=0.0)
    assert (only.index, only.before, only.after) == (60, 39.0, 36.0)


def test_each_shift_that_stays_explains_more_than_the_penalty_at_its_own_scatter() -> None:
    """The criterion of Zhang and Siegmund (2007), worked out here from the values alone."""
    x = paced()
    points = beyond_scatter(x, many(x), phi=0.0)
    bounds = [0, *(each.index for each in points), len(x)]
    for start, place, end in zip(bounds, bounds[1:-1], bounds[2:], strict=False):
        whole, parts = x[start:end], (x[start:place], x[place:end])
        explained = len(whole) * whole.var() - sum(len(part) * part.var() for part in parts)
        beside = max(x[place - 25 : place].std(), x[place : place + 25].std())
        assert explained > penalty_of(len(x), beside / 2)


def test_nothing_comes_of_nothing() -> None:
    assert beyond_scatter([], []) == []
    assert beyond_scatter([1.0, 2.0, 3.0], []) == []


def test_a_long_series_that_scatters_in_part_is_searched_too() -> None:
    """Above 5,000 values, places found by blocks could fall together when refined, and be refused."""
    rng = np.random.default_rng(1)
    x = 62.0 + 0.05 * rng.standard_normal(6000)
    x[1500:4200] += -8.0 + 3.0 * rng.standard_normal(2700)
    found = many(x)
    assert np.diff([0, *(each.index for each in found), len(x)]).min() >= 3
    first, last = beyond_scatter(x, found)
    assert abs(first.index - 1500) <= 6
    assert abs(last.index - 4200) <= 6
