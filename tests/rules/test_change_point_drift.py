"""The start of a drift, and drift or step, against plain searches by library regressions and known truth."""

from __future__ import annotations

import json
import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binomtest
from statsmodels.api import OLS

from rules.change_point import drift, form, many, penalty_in_words, penalty_of, step
from tests.rules.series import autoregressive


def _drifting(rng: np.random.Generator, n: int, last_steady: int, slope: float) -> np.ndarray:
    return rng.standard_normal(n) + slope * np.maximum(np.arange(n) - last_steady, 0)


@pytest.mark.parametrize("missing", [False, True])
def test_an_unknown_level_gives_the_best_of_all_bent_lines_that_regression_fits(missing: bool) -> None:
    rng = np.random.default_rng(1)
    for _ in range(10):
        y = _drifting(rng, 30, 14, 0.4) + 500.0
        if missing:
            y[[4, 17, 29]] = math.nan
        shots = np.flatnonzero(~np.isnan(y))
        fits = {}
        for tau in range(shots[0], shots[-2]):
            ramp = np.maximum(shots - tau, 0).astype(float)
            fits[tau + 1] = OLS(y[shots], np.column_stack([np.ones_like(ramp), ramp])).fit()
        best = min(fits, key=lambda index: fits[index].ssr)

        found = drift(y)

        assert found.index == best
        assert (found.before, found.slope) == pytest.approx(tuple(fits[best].params), rel=1e-9)
        assert found.statistic == pytest.approx(
            fits[best].ess / (fits[best].ssr / (len(shots) - 3)), rel=1e-9
        )


def test_a_known_level_gives_the_estimator_of_perry_and_pignatiello() -> None:
    """Perry and Pignatiello (2006): greatest (sum (i - t)(x_i - mu0))^2 / sum (i - t)^2 over t."""
    rng = np.random.default_rng(2)
    for _ in range(20):
        y = _drifting(rng, 40, 25, 0.3) + 10.0
        i = np.arange(1, 41)
        gains = {t: ((i - t) * (y - 10.0))[t:].sum() ** 2 / ((i - t)[t:] ** 2).sum() for t in range(40)}
        found = drift(y, center=10.0, sigma=1.0)

        assert found.index == max(gains, key=lambda t: gains[t])  # t counts the steady ones, from 1
        assert found.statistic == pytest.approx(max(gains.values()), rel=1e-10)


@pytest.mark.parametrize("center", [None, 0.0])
@pytest.mark.parametrize(
    ("n", "last_steady", "slope"), [(120, 70, 0.05), (120, 70, 0.2), (120, 100, 0.1), (60, 50, 0.3)]
)
def test_the_set_holds_the_true_start_as_often_as_it_says(
    center: float | None, n: int, last_steady: int, slope: float
) -> None:
    rng = np.random.default_rng(3)
    held = 0
    for _ in range(400):
        found = drift(_drifting(rng, n, last_steady, slope), center=center)
        held += found.low <= last_steady + 1 <= found.high
        assert found.low <= found.index <= found.high

    assert binomtest(held, 400, 0.9, alternative="less").pvalue > 0.001
    assert held < 400  # a set of everything would be no news


def test_a_set_of_correlated_values_covers_too_when_phi_is_told() -> None:
    rng = np.random.default_rng(4)
    held = blind = 0
    for _ in range(300):
        noise, x = rng.standard_normal(160), np.empty(160)
        x[0] = noise[0]
        for i in range(1, 160):
            x[i] = 0.6 * x[i - 1] + 0.8 * noise[i]
        x += 0.1 * np.maximum(np.arange(160) - 100, 0)
        told, untold = drift(x, center=0.0, phi=0.6), drift(x, center=0.0)
        held += told.low <= 101 <= told.high
        blind += untold.low <= 101 <= untold.high

    assert binomtest(held, 300, 0.9, alternative="less").pvalue > 0.001
    assert blind < held


@pytest.mark.parametrize("phi", [0.3, 0.8])
def test_a_steps_set_of_correlated_values_covers_too(phi: float) -> None:
    rng = np.random.default_rng(8)
    held = 0
    for _ in range(300):
        x = autoregressive(rng, phi, 200)
        x[120:] += 2.0
        found = step(x, phi=phi)
        held += found.low <= 120 <= found.high

    assert binomtest(held, 300, 0.9, alternative="less").pvalue > 0.001


def test_a_drift_without_noise_is_dated_to_the_shot() -> None:
    y = [5.0] * 10 + [5.0 + 0.5 * i for i in range(1, 11)]

    found = drift(y)

    assert (found.index, found.low, found.high) == (10, 10, 10)
    assert (found.before, found.slope, found.last) == pytest.approx((5.0, 0.5, 10.0))


@given(
    shift=st.floats(-1e4, 1e4), scale=st.floats(0.01, 100.0), flip=st.sampled_from([1.0, -1.0]),
    seed=st.integers(0, 2**32 - 1),
)  # fmt: skip
@settings(max_examples=60, deadline=None)
def test_another_zero_or_unit_moves_only_the_levels(
    shift: float, scale: float, flip: float, seed: int
) -> None:
    y = _drifting(np.random.default_rng(seed), 50, 30, 0.4)
    factor = scale * flip
    plain, moved = drift(y), drift(shift + factor * y)
    stepped, moved_step = step(y), step(shift + factor * y)

    assert (moved.index, moved.low, moved.high) == (plain.index, plain.low, plain.high)
    assert moved.slope == pytest.approx(factor * plain.slope, rel=1e-5)
    assert (moved_step.index, moved_step.low, moved_step.high) == (
        stepped.index, stepped.low, stepped.high,
    )  # fmt: skip
    assert moved_step.after == pytest.approx(shift + factor * stepped.after, rel=1e-6, abs=1e-6 * scale)


def test_a_clear_step_and_a_clear_drift_are_told_apart() -> None:
    rng = np.random.default_rng(5)
    steps, drifts = [], []
    for _ in range(100):
        x = rng.standard_normal(120)
        x[70:] += 2.0
        steps.append(form(x).kind)
        drifts.append(form(_drifting(rng, 120, 70, 0.2)).kind)

    assert steps.count("step") >= 85
    assert "drift" not in steps[:50]
    assert drifts.count("drift") == 100


def test_a_young_drift_is_left_open_and_its_shots_are_those_of_both_kinds() -> None:
    rng = np.random.default_rng(6)
    named_wrongly = held = 0
    for _ in range(200):
        found = form(_drifting(rng, 60, 50, 0.3), center=0.0)
        named_wrongly += found.kind == "step"
        held += found.low <= 51 <= found.high
        if found.kind == "either":
            assert found.low == min(found.step.low, found.drift.low)
            assert found.high == max(found.step.high, found.drift.high)
            assert "do not tell" in found.sentence

    assert named_wrongly / 200 < 0.08  # odds of 20 to 1 are asked for
    assert binomtest(held, 200, 0.9, alternative="less").pvalue > 0.001


def test_a_steady_run_shows_neither() -> None:
    rng = np.random.default_rng(7)
    kinds = [form(rng.standard_normal(200)).kind for _ in range(100)]

    assert kinds.count("none") >= 96


def test_noiseless_changes_leave_no_doubt_and_their_record_is_plain() -> None:
    stepped = form([0.0] * 10 + [2.0] * 10, sigma=0.1)
    drifted = form([0.0] * 10 + [0.2 * i for i in range(1, 11)], sigma=0.01)

    assert (stepped.kind, stepped.low, stepped.high) == ("step", 10, 10)
    assert "a step to 2 at shot 10 (between 10 and 10)" in stepped.sentence
    assert (drifted.kind, drifted.drift.index) == ("drift", 10)
    assert json.loads(json.dumps(stepped.to_dict()))["step"]["index"] == 10


def test_the_penalty_in_words_says_how_long_each_shift_must_last() -> None:
    squares = penalty_of(400, 1.0, 0.3)
    sentence = penalty_in_words(400, 0.12, 0.3, unit="mm")

    assert "(0.12 mm)" in sentence
    assert f"lasts {math.ceil(squares)} shots" in sentence
    assert f"by two when it lasts {math.ceil(squares / 4)}" in sentence
    assert "alike" in sentence
    assert "alike" not in penalty_in_words(400, 0.12)


def test_what_the_penalty_sentence_promises_is_what_the_search_does() -> None:
    """Without noise a shift of one sigma beside a long steady stretch counts from the length in words on."""
    lasts = (
        math.ceil(penalty_of(600, 1.0) / (1.0 - 29 / 600)) + 1
    )  # the mean moves a little towards the shift
    x = np.zeros(600)
    x[-lasts:] = 1.0
    shorter = np.zeros(600)
    shorter[-(math.ceil(penalty_of(600, 1.0)) - 1) :] = 1.0

    assert [found.index for found in many(x, sigma=1.0, phi=0.0)] == [600 - lasts]
    assert many(shorter, sigma=1.0, phi=0.0) == []


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: drift([1.0, 2.0, 3.0]), "3 values cannot show when a drift"),
        (lambda: drift([1.0], center=0.0), "1 values cannot show"),
        (lambda: drift([math.nan] * 9), "0 values cannot show"),
        (lambda: drift([1.0, 2.0, math.inf, 4.0, 5.0]), "Value 2 is infinite"),
        (lambda: step([1.0, 2.0, math.inf, 4.0, 5.0]), "Value 2 is infinite"),
        (lambda: many([1.0, -math.inf, 4.0, 5.0]), "Value 1 is infinite"),
        (lambda: drift([[1.0, 2.0], [3.0, 4.0]]), "2 dimensions"),
        (lambda: drift([1.0] * 9, sigma=-1.0), "sigma is -1.0"),
        (lambda: drift([1.0] * 9, confidence=0.0), "confidence is 0.0"),
        (lambda: form([1.0] * 9, odds_needed=1.0), "odds needed are 1.0"),
        (lambda: penalty_in_words(1, 1.0), "1 values with sigma 1.0"),
    ],
)
def test_bad_input_is_refused_with_a_sentence(call: Callable[[], object], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        call()


def test_constant_values_show_no_change() -> None:
    found = form([4.0] * 30)

    assert found.kind == "none"
    assert drift([4.0] * 30).slope == 0.0
