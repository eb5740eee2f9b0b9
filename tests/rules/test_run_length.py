"""Run lengths of CUSUM and EWMA charts against published tables, and simulation where none is published."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from rules.charts import make
from rules.run_length import (
    combined_arl,
    combined_ewma_arl,
    combined_ewma_run_length,
    combined_run_length,
    cusum_arl,
    cusum_run_length,
    cusum_steady_arl,
    ewma_arl,
    ewma_run_length,
    ewma_steady_arl,
    individuals_arl,
)
from tests import outside

# Lucas and Crosier (1982), Technometrics 24, 199-205, k = 0.5 (from memory of the print), two-sided.
CUSUM_SHIFTS = [0, 0.25, 0.5, 0.75, 1, 1.5, 2, 2.5, 3, 4]
LUCAS_CROSIER = {
    (4, 0): [168, 74.2, 26.6, 13.3, 8.38, 4.75, 3.34, 2.62, 2.19, 1.71],
    (4, 2): [149, 62.7, 20.1, 8.97, 5.29, 2.86, 2.01, 1.59, 1.32, 1.07],
    (5, 0): [465, 139, 38.0, 17.0, 10.4, 5.75, 4.01, 3.11, 2.57, 2.01],
    (5, 2.5): [430, 122, 28.7, 11.2, 6.35, 3.37, 2.36, 1.86, 1.54, 1.16],
}
# Lucas and Saccucci (1990), Technometrics 32, 1-12 (from memory of the print), same shifts.
LUCAS_SACCUCCI = {
    (0.4, 3.054): [500, 224, 71.2, 28.4, 14.3, 5.9, 3.5, 2.5, 2.0, 1.4],
    (0.2, 2.962): [500, 150, 41.8, 18.2, 10.5, 5.5, 3.7, 2.9, 2.4, 1.9],
    (0.05, 2.615): [500, 84.1, 28.8, 16.4, 11.4, 7.1, 5.2, 4.2, 3.5, 2.7],
    (0.25, 2.998): [500, 170, 48.2, 20.1, 11.1, 5.5, 3.6, 2.7, 2.3, 1.7],
    (0.1, 2.814): [500, 106, 31.3, 15.9, 10.3, 6.1, 4.4, 3.4, 2.9, 2.2],
}


@pytest.fixture(scope="session")
def reference() -> dict[str, Any]:
    return outside.entries()


@pytest.mark.parametrize("key", LUCAS_CROSIER)
def test_cusum_matches_the_published_table(key: tuple[float, float]) -> None:
    computed = [cusum_arl(k=0.5, h=key[0], head_start=key[1], shift=shift) for shift in CUSUM_SHIFTS]

    assert computed == pytest.approx(LUCAS_CROSIER[key], rel=0.006)  # printed to three digits


def test_cusum_matches_every_recomputed_cell(reference: dict[str, Any]) -> None:
    entry = reference["arl.cusum.k05"]
    for key, cells in entry["expected"].items():
        h = float(key.removeprefix("h="))
        for i, shift in enumerate(entry["inputs"]["shifts"]):
            for kind, expected in cells.items():
                head_start = h / 2 if kind.endswith("FIR") else 0.0
                two_sided = kind.startswith("two")
                computed = cusum_arl(k=0.5, h=h, shift=shift, head_start=head_start, two_sided=two_sided)
                # The far side with a head start is left out where its run length is beyond 1e11.
                assert computed == pytest.approx(expected[i], rel=2e-6), (key, kind, shift)


@pytest.mark.parametrize(("k", "h"), [(0.25, 8.01), (0.5, 4.77), (0.75, 3.34), (1.0, 2.52)])
def test_cusum_decision_intervals_of_the_published_table_give_370(k: float, h: float) -> None:
    """Hawkins (1993), J. Quality Technology 25, 248-261 (from memory of the print), h to two digits."""
    assert cusum_arl(k=k, h=h + 0.011) > 370.0 > cusum_arl(k=k, h=h - 0.011)


def test_cusum_decision_intervals_give_the_run_lengths_they_were_made_for(reference: dict[str, Any]) -> None:
    entry = reference["design.cusum.h370"]
    for k, h370, h500 in zip(
        entry["inputs"]["k"],
        entry["expected"]["h_for_ARL0_370.4"],
        entry["expected"]["h_for_ARL0_500"],
        strict=True,
    ):
        assert cusum_arl(k=k, h=h370) == pytest.approx(370.398347, rel=1e-6)
        assert cusum_arl(k=k, h=h500) == pytest.approx(500.0, rel=1e-6)


@pytest.mark.parametrize("key", LUCAS_SACCUCCI)
def test_ewma_matches_the_published_table(key: tuple[float, float]) -> None:
    computed = [ewma_arl(lam=key[0], width=key[1], shift=shift) for shift in CUSUM_SHIFTS]

    for ours, printed in zip(computed, LUCAS_SACCUCCI[key], strict=True):
        assert ours == pytest.approx(printed, rel=0.0, abs=0.5 if printed >= 100 else 0.1)  # print rounds


def test_ewma_matches_every_recomputed_cell(reference: dict[str, Any]) -> None:
    entry = reference["arl.ewma.lucas_saccucci"]
    for lam, width in entry["inputs"]["pairs"]:
        computed = [ewma_arl(lam=lam, width=width, shift=shift) for shift in entry["inputs"]["shifts"]]
        assert computed == pytest.approx(entry["expected"][f"lambda={lam},L={width}"], rel=1e-7)


def test_an_ewma_that_forgets_at_once_is_an_individuals_chart() -> None:
    assert ewma_arl(lam=1.0, width=3.0, shift=1.0) == pytest.approx(individuals_arl(shift=1.0), rel=1e-9)


SHARES = (0.05, 0.5, 0.95)


@pytest.mark.parametrize("two_sided", [True, False])
@pytest.mark.parametrize(
    "chart",
    [
        {"h": 4.0},
        {"h": 5.0, "head_start": 2.5},
        {"h": 5.0, "head_start": 2.5, "shift": 1.0},
        {"h": 4.0, "shift": 4.0},
        {"h": 10.0, "shift": 0.5},
        {"h": 15.0},
    ],
    ids=str,
)
def test_the_distribution_of_a_cusum_has_the_mean_of_its_integral_equation(
    chart: dict[str, float], two_sided: bool
) -> None:
    distribution = cusum_run_length(k=0.5, two_sided=two_sided, **chart)

    # At h = 15 the linear solve itself has seven digits.
    assert distribution.mean == pytest.approx(cusum_arl(k=0.5, two_sided=two_sided, **chart), rel=3e-7)


@pytest.mark.parametrize(
    "chart",
    [
        {"k": 0.5, "h": 4.0, "head_start": 0.0, "shift": 0.0},
        {"k": 0.5, "h": 4.0, "head_start": 2.0, "shift": 0.0},
        {"k": 0.25, "h": 6.0, "head_start": 3.0, "shift": 0.75},
    ],
    ids=str,
)
def test_shares_of_runs_that_have_signaled_match_a_simulation_of_the_cusum(chart: dict[str, float]) -> None:
    runs, distribution = 40_000, cusum_run_length(**chart)
    lengths = _pair_of_sums(runs=runs, seed=41, **chart)

    for share in (*SHARES, 0.01, 0.25):
        n = int(distribution.quantile(share))
        expected = 1 - distribution.surviving(n)[-1]
        error = math.sqrt(expected * (1 - expected) / runs)
        assert expected >= share
        assert 1 - distribution.surviving(n - 1)[-1] < share
        assert np.mean(lengths <= n) == pytest.approx(expected, abs=4 * error)


def test_quantiles_of_a_cusum_that_signals_once_in_1e35_values_are_geometric() -> None:
    far = cusum_run_length(k=0.5, h=80.0)

    assert 1e34 < far.mean < 1e36
    for share in SHARES:
        assert far.quantile(share) == pytest.approx(-math.log1p(-share) * far.mean, rel=1e-9)


@pytest.mark.parametrize("head_start", [0.0, 1.5, 2.5, 3.5, 3.9])
@pytest.mark.parametrize("shift", [0.0, 0.7])
def test_two_sums_are_exact_from_any_head_start(head_start: float, shift: float) -> None:
    """Above h / 2 + k = 2.5 neither sum need be at zero when the other signals."""
    lengths = _pair_of_sums(k=0.5, h=4.0, head_start=head_start, shift=shift, runs=40_000, seed=42)

    assert cusum_arl(k=0.5, h=4.0, head_start=head_start, shift=shift) == pytest.approx(
        lengths.mean(), abs=4 * lengths.std(ddof=1) / math.sqrt(lengths.size)
    )


def test_a_head_start_crosses_to_the_high_ones_without_a_step() -> None:
    below, above = (cusum_arl(k=0.5, h=4.0, head_start=2.5 + d, shift=0.3) for d in (-1e-7, 1e-7))

    assert above == pytest.approx(below, rel=1e-6)


@pytest.mark.parametrize("shift", [0.5, 1.0])
def test_a_shift_long_after_the_start_of_a_cusum_matches_a_simulation(shift: float) -> None:
    sums, rng = np.zeros(30_000), np.random.default_rng(43)
    for _ in range(60):
        sums = np.maximum(0.0, sums + rng.standard_normal(sums.size) - 0.5)
        sums = sums[sums <= 5.0]
    lengths = _one_sum(sums, k=0.5, h=5.0, shift=shift, rng=rng)

    assert cusum_steady_arl(k=0.5, h=5.0, shift=shift) == pytest.approx(
        lengths.mean(), abs=4 * lengths.std(ddof=1) / math.sqrt(lengths.size)
    )
    assert cusum_steady_arl(k=0.5, h=5.0, shift=shift) < cusum_arl(k=0.5, h=5.0, shift=shift)


@pytest.mark.parametrize(("lam", "width"), [(0.1, 2.814), (0.4, 3.054), (1.0, 3.0)])
@pytest.mark.parametrize("shift", [0.0, 1.0])
def test_the_distribution_of_an_ewma_has_the_mean_of_its_integral_equation(
    lam: float, width: float, shift: float
) -> None:
    distribution = ewma_run_length(lam=lam, width=width, shift=shift)

    assert distribution.mean == pytest.approx(ewma_arl(lam=lam, width=width, shift=shift), rel=1e-9)


@pytest.mark.parametrize(
    "options", [{}, {"head_start": 0.5}, {"head_start": 0.25}, {"asymptotic": False}], ids=str
)
@pytest.mark.parametrize("shift", [0.0, 1.0])
def test_starts_of_an_ewma_match_a_simulation_of_its_definition(
    options: dict[str, Any], shift: float
) -> None:
    """Head start: two averages, started above and below center, each with the limit of its side."""
    runs, lam, width = 30_000, 0.25, 2.5
    lengths = _averages(lam=lam, width=width, shift=shift, runs=runs, seed=44, **options)
    distribution = ewma_run_length(lam=lam, width=width, shift=shift, **options)

    assert ewma_arl(lam=lam, width=width, shift=shift, **options) == pytest.approx(
        lengths.mean(), abs=4 * lengths.std(ddof=1) / math.sqrt(runs)
    )
    for share in SHARES:
        n = int(distribution.quantile(share))
        expected = 1 - distribution.surviving(n)[-1]
        assert np.mean(lengths <= n) == pytest.approx(
            expected, abs=4 * math.sqrt(expected * (1 - expected) / runs)
        )


def test_widening_limits_are_those_of_the_chart() -> None:
    """The chart itself, over series without end: each begins anew at its signal."""
    chart = make("ewma", {"center": 0.0, "sigma": 1.0, "lam": 0.2, "width": 2.5, "asymptotic": False})
    z, lengths, first = np.random.default_rng(45).standard_normal(400_000) + 0.5, [], 0
    while first < z.size - 2_000:
        _, track = chart.run(z[first : first + 2_000])
        lengths.append(track.signals[0][0] + 1)
        first += lengths[-1]

    assert ewma_arl(lam=0.2, width=2.5, shift=0.5, asymptotic=False) == pytest.approx(
        float(np.mean(lengths)), abs=4 * float(np.std(lengths)) / math.sqrt(len(lengths))
    )


def test_a_shift_long_after_the_start_of_an_ewma_matches_a_simulation() -> None:
    rng, limit = np.random.default_rng(46), 2.7 * math.sqrt(0.2 / 1.8)
    averages = np.zeros(30_000)
    for _ in range(60):
        averages = 0.2 * rng.standard_normal(averages.size) + 0.8 * averages
        averages = averages[np.abs(averages) <= limit]
    lengths, going, step = np.zeros(averages.size), np.arange(averages.size), 0
    while going.size:
        step += 1
        averages = 0.2 * (rng.standard_normal(going.size) + 1.0) + 0.8 * averages
        out = np.abs(averages) > limit
        lengths[going[out]] = step
        going, averages = going[~out], averages[~out]

    assert ewma_steady_arl(lam=0.2, width=2.7, shift=1.0) == pytest.approx(
        lengths.mean(), abs=4 * lengths.std(ddof=1) / math.sqrt(lengths.size)
    )


@pytest.mark.parametrize(
    ("width", "lam", "ewma_width", "shift"),
    [(3.25, 0.1, 2.7, 0.0), (2.5, 0.4, 3.0, 0.0), (3.0, 0.2, 2.9, 0.7)],
)
def test_individuals_and_ewma_together_match_a_simulation(
    width: float, lam: float, ewma_width: float, shift: float
) -> None:
    lengths = _averages(lam=lam, width=ewma_width, shift=shift, runs=15_000, seed=47, individuals=width)

    together = combined_ewma_arl(width=width, lam=lam, ewma_width=ewma_width, shift=shift)

    distribution = combined_ewma_run_length(width=width, lam=lam, ewma_width=ewma_width, shift=shift)

    assert together == pytest.approx(lengths.mean(), abs=4 * lengths.std(ddof=1) / math.sqrt(lengths.size))
    assert distribution.mean == pytest.approx(together, rel=1e-9)
    for share in SHARES:
        n = int(distribution.quantile(share))
        expected = 1 - distribution.surviving(n)[-1]
        error = math.sqrt(expected * (1 - expected) / lengths.size)
        assert np.mean(lengths <= n) == pytest.approx(expected, abs=4 * error)
    assert together < min(
        individuals_arl(width=width, shift=shift), ewma_arl(lam=lam, width=ewma_width, shift=shift)
    )


def test_an_ewma_with_limits_that_no_value_reaches_is_the_ewma_alone() -> None:
    together = combined_ewma_arl(width=40.0, lam=0.2, ewma_width=2.962, shift=0.5)

    assert together == pytest.approx(ewma_arl(lam=0.2, width=2.962, shift=0.5), rel=1e-9)
    without = combined_ewma_arl(width=3.0, lam=0.2, ewma_width=12.0, shift=0.5)
    assert without == pytest.approx(individuals_arl(shift=0.5), rel=1e-9)


@pytest.mark.parametrize(("width", "k", "h", "shift"), [(3.0, 0.5, 4.0, 0.0), (3.5, 0.5, 5.0, 1.0)])
def test_individuals_and_cusum_together_match_a_simulation(
    width: float, k: float, h: float, shift: float
) -> None:
    runs, distribution = 20_000, combined_run_length(width=width, k=k, h=h, shift=shift)
    lengths = _pair_of_sums(k=k, h=h, head_start=0.0, shift=shift, runs=runs, seed=12, width=width)
    error = lengths.std(ddof=1) / math.sqrt(runs)

    assert combined_arl(width=width, k=k, h=h, shift=shift) == pytest.approx(lengths.mean(), abs=4 * error)
    assert distribution.mean == pytest.approx(combined_arl(width=width, k=k, h=h, shift=shift), rel=1e-9)
    for share in SHARES:
        n = int(distribution.quantile(share))
        expected = 1 - distribution.surviving(n)[-1]
        spread = math.sqrt(expected * (1 - expected) / runs)
        assert np.mean(lengths <= n) == pytest.approx(expected, abs=4 * spread)


def test_added_rates_overstate_the_joint_rate_by_about_one_percent_at_the_usual_plan() -> None:
    added = 1 / (1 / cusum_arl(k=0.5, h=8.7) + 1 / individuals_arl(width=4.3))

    assert added < combined_arl(width=4.3, k=0.5, h=8.7) < 1.015 * added


def test_what_signals_practically_never_is_infinite() -> None:
    assert cusum_arl(k=0.5, h=80.0) == math.inf
    assert combined_arl(width=9.0, k=0.5, h=50.0) == math.inf
    assert ewma_arl(lam=0.2, width=9.0) == math.inf


def test_together_without_limits_is_the_cusum_alone() -> None:
    assert combined_arl(width=40.0, k=0.5, h=5.0) == pytest.approx(cusum_arl(k=0.5, h=5.0), rel=1e-8)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: cusum_arl(k=-1.0, h=5.0), "k is -1.0"),
        (lambda: cusum_arl(k=0.5, h=0.0), "h is 0.0"),
        (lambda: cusum_arl(k=0.5, h=5.0, head_start=5.0), "head start is 5.0"),
        (lambda: cusum_run_length(k=0.5, h=5.0, head_start=3.1), r"at most h / 2 \+ k \(3\)"),
        (lambda: cusum_run_length(k=0.5, h=5.0).quantile(0.0), "share of runs is 0.0"),
        (lambda: ewma_arl(lam=0.2, width=3.0, head_start=1.0), "head start is 1.0"),
        (lambda: ewma_arl(lam=0.2, width=3.0, head_start=0.5, asymptotic=False), "limits that do not widen"),
        (lambda: combined_ewma_arl(width=0.0, lam=0.2, ewma_width=3.0), "width is 0.0"),
        (lambda: ewma_arl(lam=0.0, width=3.0), "lambda is 0.0"),
        (lambda: ewma_arl(lam=0.2, width=-1.0), "width is -1.0"),
        (lambda: combined_arl(width=-3.0, k=0.5, h=5.0), "width is -3.0"),
    ],
)
def test_what_cannot_be_computed_is_refused_with_a_sentence(call: Callable[[], object], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        call()


def _pair_of_sums(
    *, k: float, h: float, head_start: float, shift: float, runs: int, seed: int, width: float = math.inf
) -> np.ndarray:
    """Run lengths of many two-sided CUSUMs, with individuals limits, by their definition."""
    rng = np.random.default_rng(seed)
    upper, lower = np.full(runs, head_start), np.full(runs, head_start)
    lengths, going, step = np.zeros(runs), np.arange(runs), 0
    while going.size:
        step += 1
        x = rng.standard_normal(going.size) + shift
        upper, lower = np.maximum(0.0, upper + x - k), np.maximum(0.0, lower - x - k)
        out = (upper > h) | (lower > h) | (np.abs(x) > width)
        lengths[going[out]] = step
        going, upper, lower = going[~out], upper[~out], lower[~out]
    return lengths


def _one_sum(start: np.ndarray, *, k: float, h: float, shift: float, rng: np.random.Generator) -> np.ndarray:
    """Run lengths of upper sums that start where ``start`` says."""
    sums, lengths, going, step = start, np.zeros(start.size), np.arange(start.size), 0
    while going.size:
        step += 1
        sums = np.maximum(0.0, sums + rng.standard_normal(going.size) + shift - k)
        out = sums > h
        lengths[going[out]] = step
        going, sums = going[~out], sums[~out]
    return lengths


def _averages(
    *,
    lam: float,
    width: float,
    shift: float,
    runs: int,
    seed: int,
    head_start: float = 0.0,
    asymptotic: bool = True,
    individuals: float = math.inf,
) -> np.ndarray:
    """Run lengths of many EWMA charts, by their definition: an average for each side."""
    rng, limit = np.random.default_rng(seed), width * math.sqrt(lam / (2 - lam))
    high, low = np.full(runs, head_start * limit), np.full(runs, -head_start * limit)
    lengths, going, step = np.zeros(runs), np.arange(runs), 0
    while going.size:
        step += 1
        x = rng.standard_normal(going.size) + shift
        high, low = lam * x + (1 - lam) * high, lam * x + (1 - lam) * low
        reach = limit if asymptotic else limit * math.sqrt(1 - (1 - lam) ** (2 * step))
        out = (high > reach) | (low < -reach) | (np.abs(x) > individuals)
        lengths[going[out]] = step
        going, high, low = going[~out], high[~out], low[~out]
    return lengths
