"""When a press counts as steady."""

from __future__ import annotations

import numpy as np
import pytest

from collector.startup import PATIENCE, TREND_SIGMAS, WINDOW, has_trend, may_chart


def test_the_first_shots_are_never_charted() -> None:
    assert not may_chart(9, 10, {}, None)


def test_a_press_without_startup_shots_is_charted_at_once() -> None:
    assert may_chart(0, 0, {"cushion": [1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0]}, None)


def test_a_rising_characteristic_holds_charting_up() -> None:
    assert not may_chart(10, 10, {"cushion": [float(n) for n in range(WINDOW)]}, None)


def test_a_press_that_never_settles_is_charted_in_the_end() -> None:
    assert may_chart(PATIENCE * 10, 10, {"cushion": [float(n) for n in range(WINDOW)]}, None)


def test_with_limits_the_last_shots_must_lie_inside() -> None:
    assert may_chart(10, 10, {}, [3.0, 2.0, 0.9, 0.5, 0.7, 0.2])
    assert not may_chart(10, 10, {}, [0.1, 0.1, 0.1, 0.9, 0.5, 1.7, 0.2])


def test_a_temperature_may_wander_a_little() -> None:
    wander = [30.0, 30.1, 30.2, 30.3, 30.4, 30.5, 30.6, 30.7]

    assert not has_trend(wander, slow=True)
    assert has_trend(wander, slow=False)


def test_a_constant_has_no_trend() -> None:
    assert not has_trend([38.0] * WINDOW, slow=False)


def test_about_one_steady_window_in_a_hundred_looks_like_a_trend() -> None:
    """The rise of a least-squares line over eight normal values has standard error 7 / sqrt(42) sigma
    (textbook formula of the slope's variance, from memory); moving ranges add their own error."""
    rng = np.random.default_rng(20)
    windows = rng.normal(size=(20_000, WINDOW))

    share = np.mean([has_trend(window.tolist(), slow=False) for window in windows])

    assert 0.002 < share < 0.05
    assert pytest.approx(1.08, abs=0.005) == 7 / np.sqrt(42)
    assert TREND_SIGMAS > 2 * 1.08
