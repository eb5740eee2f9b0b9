"""Run lengths against published tables, and against simulation where none is published."""

from __future__ import annotations

import json
import math
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from rules.run_length import (
    ZoneRule,
    alternating_arl,
    combined_arl,
    cusum_ar1_arl,
    cusum_arl,
    ewma_arl,
    individuals_ar1_arl,
    individuals_arl,
    simulated_individuals_arl,
    trend_arl,
    zone_arl,
)
from rules.run_rules import RULES, RunRule

# Champ and Woodall (1987), Technometrics 29, 393-399: the rules T(k, m, a, b) of their Table 1.
CHAMP_WOODALL = {
    "1": ZoneRule(1, 1, 3.0),
    "2": ZoneRule(2, 3, 2.0, 3.0),
    "3": ZoneRule(4, 5, 1.0, 3.0),
    "4": ZoneRule(8, 8, 0.0, 3.0),
    "5": ZoneRule(2, 2, 2.0, 3.0),
    "6": ZoneRule(5, 5, 1.0, 3.0),
    "7": ZoneRule(1, 1, 3.09),
    "8": ZoneRule(2, 3, 1.96, 3.09),
    "9": ZoneRule(8, 8, 0.0, 3.09),
}
# Their Table 1 at shifts 0, 0.4, 1, 2 and 3 (from memory of the print; exact values agree within 0.01).
CHAMP_WOODALL_TABLE = {
    "1": [370.40, 200.08, 43.89, 6.30, 2.00],
    "12": [225.44, 104.46, 20.01, 3.65, 1.68],
    "13": [166.05, 63.88, 12.66, 3.68, 1.89],
    "14": [152.73, 59.76, 14.58, 4.89, 1.99],
    "123": [132.89, 52.93, 10.95, 3.14, 1.67],
    "1234": [91.75, 36.61, 9.22, 3.13, 1.67],
}
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
    (0.25, 2.998): [500, 170, 48.2, 20.1, 11.1, 5.5, 3.6, 2.7, 2.3, 1.7],
    (0.1, 2.814): [500, 106, 31.3, 15.9, 10.3, 6.1, 4.4, 3.4, 2.9, 2.2],
}
ZONE_NAMES = ("beyond_limit", "same_side", "two_of_three", "four_of_five", "hugging", "avoiding")


@pytest.fixture(scope="session")
def reference() -> dict[str, Any]:
    outside = os.environ.get("EVENRUN_OUTSIDE")
    if not outside:
        pytest.skip("EVENRUN_OUTSIDE is not set: no folder with reference values")
    entries = json.loads((Path(outside) / "reference" / "reference.json").read_text())["entries"]
    return {entry["id"]: entry for entry in entries}


def test_three_sigma_limits_signal_once_in_370_4_values() -> None:
    assert individuals_arl() == pytest.approx(370.398347345, rel=1e-10)


@pytest.mark.parametrize("key", CHAMP_WOODALL_TABLE)
def test_zone_rules_together_match_the_published_table(key: str) -> None:
    rules = [CHAMP_WOODALL[digit] for digit in key]

    computed = [individuals_arl(rules=rules, shift=shift) for shift in (0.0, 0.4, 1.0, 2.0, 3.0)]

    assert computed == pytest.approx(CHAMP_WOODALL_TABLE[key], abs=0.01)


def test_zone_rules_match_every_recomputed_cell_of_the_table(reference: dict[str, Any]) -> None:
    entry = reference["arl.runsrules.champwoodall"]
    for key, expected in entry["expected"]["ARL"].items():
        rules = [CHAMP_WOODALL[digit] for digit in key]
        computed = [zone_arl(rules, shift) for shift in entry["inputs"]["shifts"]]
        assert computed == pytest.approx(expected, rel=1e-8), key


def test_each_of_the_eight_rules_alone_matches_the_reference(reference: dict[str, Any]) -> None:
    entry = reference["arl.nelson.single"]
    for rule in RULES:
        computed = [individuals_arl(rules=[rule.name], shift=shift) for shift in entry["inputs"]["shifts"]]
        assert computed == pytest.approx(entry["expected"][str(rule.nelson)], rel=1e-8), rule.name


def test_a_run_of_nine_on_one_side_takes_511_values() -> None:
    """Feller, Probability Theory vol. 1, XIII.7: runs of length 9 of either kind, p = 1/2: 2^9 - 1."""
    assert individuals_arl(rules=["same_side"]) == pytest.approx(511.0, rel=1e-10)


def test_a_run_rule_with_a_count_of_its_own_is_taken_as_given() -> None:
    eight = RunRule(name="same_side", nelson=2, pattern="beyond", count=8, of=8)

    assert individuals_arl(rules=[eight]) == pytest.approx(2**8 - 1, rel=1e-10)


def test_order_rules_match_the_reference(reference: dict[str, Any]) -> None:
    expected = reference["arl.trend.variants"]["expected"]

    computed = {f"{points}_points": trend_arl(points) for points in (6, 7, 8)}
    computed |= {f"{points}_alternating": alternating_arl(points) for points in (12, 14)}

    assert computed == pytest.approx(expected, rel=1e-8)


@pytest.mark.parametrize(("arl", "count"), [(trend_arl, 3), (alternating_arl, 4)])
def test_short_order_patterns_match_a_simulation_of_uniform_values(
    arl: Callable[[int], float], count: int
) -> None:
    rng = np.random.default_rng(20)
    name, number = ("trend", 3) if arl is trend_arl else ("alternating", 4)
    rule = RunRule(name=name, nelson=number, pattern=name, count=count, of=count)

    mean, error = simulated_individuals_arl(rng=rng, rules=[rule], runs=3000)

    assert mean == pytest.approx(arl(count), abs=4 * error)
    assert arl(2 if arl is trend_arl else 3) < arl(count)


def test_a_mixture_with_trend_says_that_it_must_be_simulated() -> None:
    with pytest.raises(ValueError, match="simulate"):
        individuals_arl(rules=["beyond_limit", "trend"])


def test_simulation_agrees_with_the_exact_chain() -> None:
    mean, error = simulated_individuals_arl(rng=np.random.default_rng(5), rules=ZONE_NAMES, runs=2000)

    assert mean == pytest.approx(individuals_arl(rules=ZONE_NAMES), abs=4 * error)


def test_all_eight_rules_cry_wolf_sooner_than_the_zone_rules_alone() -> None:
    names = [rule.name for rule in RULES]

    mean, error = simulated_individuals_arl(rng=np.random.default_rng(6), rules=names, runs=2000)

    assert mean + 4 * error < individuals_arl(rules=ZONE_NAMES)


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


def test_individuals_of_autocorrelated_values_match_the_reference(reference: dict[str, Any]) -> None:
    """Moving-range limits shrink with sqrt(1 - phi), cf. Maragah and Woodall (1992)."""
    entry = reference["ar1.ichart.known"]
    for i, phi in enumerate(entry["inputs"]["phi"]):
        total = individuals_ar1_arl(width=3.0, phi=phi)
        moving_range = individuals_ar1_arl(width=3.0 * math.sqrt(1.0 - phi), phi=phi)
        assert total == pytest.approx(entry["expected"]["ARL0_sd_limits"][i], rel=1e-8)
        assert moving_range == pytest.approx(entry["expected"]["ARL0"][i], rel=1e-8)


@pytest.mark.parametrize("shift", [0.0, 0.5, 1.0, 2.0])
def test_cusum_of_autocorrelated_values_is_the_usual_one_at_phi_zero(shift: float) -> None:
    assert cusum_ar1_arl(k=0.5, h=5.0, phi=0.0, shift=shift) == pytest.approx(
        cusum_arl(k=0.5, h=5.0, shift=shift), rel=1e-3
    )


@pytest.mark.parametrize(
    ("phi", "h", "shift"),
    [(-0.3, 3.0, 0.0), (0.3, 9.0, 0.0), (0.6, 12.0, 0.5), (0.9, 40.0, 1.0), (0.95, 80.0, 1.0)],
)
def test_cusum_of_autocorrelated_values_matches_a_simulation(phi: float, h: float, shift: float) -> None:
    mean, error = _simulated(k=0.5, h=h, phi=phi, shift=shift, runs=4000, seed=11)

    assert cusum_ar1_arl(k=0.5, h=h, phi=phi, shift=shift) == pytest.approx(mean, abs=3.5 * error, rel=0.01)


@pytest.mark.parametrize(("width", "k", "h", "shift"), [(3.0, 0.5, 4.0, 0.0), (3.5, 0.5, 5.0, 1.0)])
def test_individuals_and_cusum_together_match_a_simulation(
    width: float, k: float, h: float, shift: float
) -> None:
    mean, error = _simulated(k=k, h=h, phi=0.0, shift=shift, runs=10_000, seed=12, width=width)

    assert combined_arl(width=width, k=k, h=h, shift=shift) == pytest.approx(mean, abs=3.5 * error)


def test_added_rates_overstate_the_joint_rate_by_about_one_percent_at_the_usual_plan() -> None:
    added = 1 / (1 / cusum_arl(k=0.5, h=8.7) + 1 / individuals_arl(width=4.3))

    assert added < combined_arl(width=4.3, k=0.5, h=8.7) < 1.015 * added


def test_what_signals_practically_never_is_infinite() -> None:
    assert cusum_arl(k=0.5, h=80.0) == math.inf
    assert cusum_ar1_arl(k=0.5, h=200.0, phi=0.3) == math.inf
    assert combined_arl(width=9.0, k=0.5, h=50.0) == math.inf
    assert ewma_arl(lam=0.2, width=9.0) == math.inf
    assert individuals_ar1_arl(width=9.0, phi=0.3) == math.inf


def test_together_without_limits_is_the_cusum_alone() -> None:
    assert combined_arl(width=40.0, k=0.5, h=5.0) == pytest.approx(cusum_arl(k=0.5, h=5.0), rel=1e-8)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: individuals_arl(width=0.0), "width is 0.0"),
        (lambda: individuals_arl(rules=[]), "No rule is given"),
        (lambda: individuals_arl(rules=["no_such"]), "no_such"),
        (lambda: individuals_arl(shift=math.nan), "shift is nan"),
        (lambda: cusum_arl(k=-1.0, h=5.0), "k is -1.0"),
        (lambda: cusum_arl(k=0.5, h=0.0), "h is 0.0"),
        (lambda: cusum_arl(k=0.5, h=5.0, head_start=5.0), "head start is 5.0"),
        (lambda: ewma_arl(lam=0.0, width=3.0), "lambda is 0.0"),
        (lambda: ewma_arl(lam=0.2, width=-1.0), "width is -1.0"),
        (lambda: individuals_ar1_arl(width=3.0, phi=1.0), "phi is 1.0"),
        (lambda: cusum_ar1_arl(k=0.5, h=math.inf, phi=0.5), "h is inf"),
        (lambda: combined_arl(width=-3.0, k=0.5, h=5.0), "width is -3.0"),
        (lambda: trend_arl(1), "pattern of 1 values"),
        (lambda: ZoneRule(3, 2, 1.0), "3 in 2 values"),
        (lambda: ZoneRule(2, 3, 2.0, 1.0), "zone from 2.0 to 1.0"),
        (lambda: simulated_individuals_arl(rng=np.random.default_rng(1), rules=["trend"], runs=1), "1 runs"),
    ],
)
def test_what_cannot_be_computed_is_refused_with_a_sentence(call: Callable[[], object], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        call()


def _simulated(
    *, k: float, h: float, phi: float, shift: float, runs: int, seed: int, width: float = math.inf
) -> tuple[float, float]:
    """Mean run length and its standard error of many series side by side, by the definition of the charts."""
    rng = np.random.default_rng(seed)
    x = rng.standard_normal(runs)
    upper, lower, length = np.zeros(runs), np.zeros(runs), np.zeros(runs)
    going, step = np.arange(runs), 0
    while going.size:
        step += 1
        if step > 1:
            x = phi * x + math.sqrt(1 - phi * phi) * rng.standard_normal(going.size)
        upper = np.maximum(0.0, upper + x + shift - k)
        lower = np.maximum(0.0, lower - x - shift - k)
        out = (upper > h) | (lower > h) | (np.abs(x + shift) > width)
        length[going[out]] = step
        going, x, upper, lower = going[~out], x[~out], upper[~out], lower[~out]
    return float(length.mean()), float(length.std(ddof=1) / math.sqrt(runs))
