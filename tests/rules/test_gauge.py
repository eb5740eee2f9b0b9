"""Gauge studies against published worked examples, statsmodels, exact formulas and simulated coverage."""

from __future__ import annotations

import json
import math
from collections.abc import Callable

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from statsmodels.formula.api import ols
from statsmodels.stats.anova import anova_lm

from rules.gauge import (
    Term,
    by_anova,
    by_ranges,
    check_standard,
    nested,
    single_by_anova,
    single_by_ranges,
    two_way,
    variance_bounds,
)
from rules.gauge.crossed import d2_star, range_freedom
from tests import outside

# Measurement Systems Analysis, reference manual of the automotive industry, 3rd/4th ed., chapter III, the
# worked form of 10 parts, 3 appraisers (rows of three trials each), retyped.
APPRAISERS = [
    [
        [0.29, -0.56, 1.34, 0.47, -0.80, 0.02, 0.59, -0.31, 2.26, -1.36],
        [0.41, -0.68, 1.17, 0.50, -0.92, -0.11, 0.75, -0.20, 1.99, -1.25],
        [0.64, -0.58, 1.27, 0.64, -0.84, -0.21, 0.66, -0.17, 2.01, -1.31],
    ],
    [
        [0.08, -0.47, 1.19, 0.01, -0.56, -0.20, 0.47, -0.63, 1.80, -1.68],
        [0.25, -1.22, 0.94, 1.03, -1.20, 0.22, 0.55, 0.08, 2.12, -1.62],
        [0.07, -0.68, 1.34, 0.20, -1.28, 0.06, 0.83, -0.34, 2.19, -1.50],
    ],
    [
        [0.04, -1.38, 0.88, 0.14, -1.46, -0.29, 0.02, -0.46, 1.77, -1.49],
        [-0.11, -1.13, 1.09, 0.20, -1.07, -0.67, 0.01, -0.56, 1.45, -1.77],
        [-0.15, -0.96, 0.67, 0.11, -1.45, -0.49, 0.21, -0.49, 1.87, -2.16],
    ],
]
FORM = np.array(APPRAISERS).transpose(2, 0, 1)  # parts, appraisers, trials

# NIST/SEMATECH e-Handbook 2.6.2, MPC62.DAT: check standard 137, 25 days of 6 repetitions.
CHECKS = [
    97.07, 97.049, 97.048, 97.084, 97.106, 97.014, 97.047, 97.078, 97.065, 97.061, 97.06, 97.102, 97.096,
    97.035, 97.114, 97.069, 97.095, 97.088, 97.079, 97.016, 97.051, 97.07, 97.065, 97.111, 97.073,
]  # fmt: skip
CHECK_SDS = [
    0.085, 0.052, 0.038, 0.036, 0.049, 0.036, 0.052, 0.117, 0.085, 0.052, 0.06, 0.048, 0.026, 0.088, 0.031,
    0.037, 0.032, 0.056, 0.067, 0.116, 0.046, 0.078, 0.04, 0.038, 0.039,
]  # fmt: skip


def _random_study(
    rng: np.random.Generator, shape: tuple[int, int, int], sigmas: tuple[float, float, float, float]
) -> np.ndarray:
    """Readings with standard deviations of part, appraiser, interaction, repetition."""
    parts, appraisers, trials = shape
    return (
        sigmas[0] * rng.standard_normal((parts, 1, 1))
        + sigmas[1] * rng.standard_normal((1, appraisers, 1))
        + sigmas[2] * rng.standard_normal((parts, appraisers, 1))
        + sigmas[3] * rng.standard_normal((parts, appraisers, trials))
    )


def test_averages_and_ranges_give_the_printed_form() -> None:
    """The manual's printed EV .20188, AV .22963, GRR .30575, PV 1.10456, TV 1.1461, %GRR 26.68, ndc 5
    (prints from memory; four-digit K1..K3 and intermediate figures there, hence the width)."""
    found = by_ranges(FORM)
    sigmas = [
        each.sigma.estimate
        for each in (found.equipment, found.appraiser, found.gauge, found.part, found.total)
    ]

    assert sigmas == pytest.approx([0.20188, 0.22963, 0.30575, 1.10456, 1.1461], abs=1.5e-4)
    assert found.gauge_share.estimate == pytest.approx(26.68, abs=0.01)
    assert found.part.of_study == pytest.approx(96.38, abs=0.01)
    assert found.classes.estimate == pytest.approx(5.094, abs=0.005)
    assert found.whole_classes == 5
    assert (found.interaction, found.interaction_p, found.table) == (None, None, ())


def test_averages_and_ranges_equal_the_second_computation_with_the_manuals_constants() -> None:
    """msa.grr.avgrange: the same with K1 .5908, K2 .5231, K3 .3146 (exact reciprocals differ by 4e-5)."""
    found = by_ranges(FORM)
    expected = outside.entry("msa.grr.avgrange")["expected"]
    from_forms = {"equipment": "EV", "appraiser": "AV", "gauge": "GRR", "part": "PV", "total": "TV"}

    assert 1 / d2_star(3) == pytest.approx(0.5231, abs=5e-5)
    assert 1 / d2_star(10) == pytest.approx(0.3146, abs=5e-5)
    for ours, theirs in from_forms.items():
        assert getattr(found, ours).sigma.estimate == pytest.approx(expected[theirs], rel=2e-4), theirs
    assert found.equipment.sigma.estimate / expected["Rbarbar"] == pytest.approx(0.5908, abs=5e-5)
    assert found.classes.estimate == pytest.approx(expected["ndc"], rel=2e-4)


def test_the_analysis_of_variance_gives_the_printed_table_and_components() -> None:
    """The manual's table (from memory) and msa.grr.anova: interaction F .434 is pooled with repeatability."""
    found = by_anova(FORM)
    part, appraiser, equipment = found.table
    sources = two_way(FORM)

    assert [sources.appraiser.squares, sources.part.squares] == pytest.approx([3.1673, 88.3619], abs=5e-5)
    assert [sources.interaction.squares, sources.equipment.squares] == pytest.approx(
        [0.3590, 2.7589], abs=5e-5
    )
    assert (part.freedom, appraiser.freedom, equipment.freedom) == (9, 2, 78)
    assert equipment.mean_square == pytest.approx(0.0399732763533, rel=1e-8)
    assert found.interaction_p == pytest.approx(0.974106404329, rel=1e-8)
    sigmas = [
        each.sigma.estimate
        for each in (found.equipment, found.appraiser, found.gauge, found.part, found.total)
    ]
    expected = [0.199933179721, 0.226837521496, 0.302371522323, 1.04232749384, 1.08529956322]
    assert sigmas == pytest.approx(expected, rel=1e-8)
    assert found.gauge_share.estimate == pytest.approx(27.8606508811, rel=1e-8)
    assert found.classes.estimate == pytest.approx(4.86051647662, rel=1e-8)
    assert found.whole_classes == 4  # the same readings give 5 by ranges
    assert "counted as repeatability" in found.notes[0]


def test_every_figure_of_the_reference_entry_is_met() -> None:
    expected = outside.entry("msa.grr.anova")["expected"]
    sources, pooled = two_way(FORM), by_anova(FORM)
    kept = by_anova(FORM, pooling_level=1.0)

    for name in ("appraiser", "part", "interaction", "equipment"):
        source = getattr(sources, name)
        assert source.squares == pytest.approx(expected["SS"][name], rel=1e-8)
        assert source.freedom == expected["df"][name]
        assert source.mean_square == pytest.approx(expected["MS"][name], rel=1e-8)
    assert pooled.appraiser is not None
    assert kept.appraiser is not None
    for study, held, variances in (
        (pooled, ("equipment", "appraiser", "part"), expected["pooled"]["var"]),
        (kept, ("equipment", "appraiser", "part"), expected["unpooled_var"]),
    ):
        ours = [getattr(study, name).sigma.estimate ** 2 for name in held]
        assert ours == pytest.approx([variances[name] for name in ("repeat", "appr", "part")], rel=1e-8)
    assert kept.interaction is not None
    assert kept.interaction.sigma.estimate == 0.0  # -0.00868 comes out, which no variance can be
    assert "kept apart" in kept.notes[0]


def test_the_sums_of_squares_equal_those_of_statsmodels() -> None:
    y = _random_study(np.random.default_rng(1), (7, 3, 4), (2.0, 0.5, 0.3, 0.7)) + 40.0
    part, appraiser, _ = (index.ravel() for index in np.indices(y.shape))
    frame = pd.DataFrame({"y": y.ravel(), "part": part, "who": appraiser})
    table = anova_lm(ols("y ~ C(part) * C(who)", frame).fit())
    ours = two_way(y)

    for name, line in (("C(part)", ours.part), ("C(who)", ours.appraiser),
                       ("C(part):C(who)", ours.interaction), ("Residual", ours.equipment)):  # fmt: skip
        assert line.squares == pytest.approx(table.loc[name, "sum_sq"], rel=1e-9)
        assert line.freedom == table.loc[name, "df"]


def test_intervals_are_those_of_burdick_borror_and_montgomery() -> None:
    """Burdick, Borror and Montgomery (2003), J. Quality Technology 35, 342-354: thermal impedance, 10 parts,
    3 operators, 3 trials; mean squares 437.33, 19.63, 2.70, 0.511; 95 % intervals of part (22.69, 161.64) and
    gauge variance (1.20, 27.0) (from memory; reproduced)."""
    part, who, joint, rest = ((437.33, 9), (19.63, 2), (2.70, 18), (0.511, 60))
    of_part = variance_bounds([Term(1 / 9, *part), Term(-1 / 9, *joint)], 0.95)
    of_gauge = variance_bounds([Term(1 / 30, *who), Term(9 / 30, *joint), Term(20 / 30, *rest)], 0.95)

    assert of_part == pytest.approx((22.69, 161.64), abs=0.005)
    assert of_gauge[0] == pytest.approx(1.20, abs=0.01)
    assert of_gauge[1] == pytest.approx(27.0, abs=0.05)


def test_the_interval_of_one_mean_square_is_chi_square() -> None:
    low, high = variance_bounds([Term(2.0, 3.0, 14)], 0.9)

    assert low == pytest.approx(2 * 3 * 14 / stats.chi2.ppf(0.95, 14), rel=1e-12)
    assert high == pytest.approx(2 * 3 * 14 / stats.chi2.ppf(0.05, 14), rel=1e-12)


@pytest.mark.parametrize("sigmas", [(2.0, 0.5, 0.3, 0.5), (1.0, 1.0, 0.0, 0.2), (3.0, 0.1, 0.1, 1.0)])
def test_intervals_of_a_crossed_study_cover_as_often_as_they_say(
    sigmas: tuple[float, float, float, float],
) -> None:
    rng = np.random.default_rng(2)
    truth = {
        "equipment": sigmas[3], "appraiser": sigmas[1], "part": sigmas[0],
        "gauge": math.sqrt(sum(s * s for s in sigmas[1:])), "total": math.sqrt(sum(s * s for s in sigmas)),
    }  # fmt: skip
    held = dict.fromkeys([*truth, "classes", "share"], 0)
    for _ in range(400):
        found = by_anova(_random_study(rng, (10, 3, 2), sigmas), confidence=0.9, pooling_level=1.0)
        for name, sigma in truth.items():
            interval = getattr(found, name).sigma
            held[name] += interval.low <= sigma <= interval.high
        held["classes"] += found.classes.low <= 1.41 * sigmas[0] / truth["gauge"] <= found.classes.high
        share = 100 * truth["gauge"] / truth["total"]
        held["share"] += found.gauge_share.low <= share <= found.gauge_share.high

    for name, count in held.items():
        assert stats.binomtest(count, 400, 0.88, alternative="less").pvalue > 0.001, name


def test_one_person_alone_gives_the_exact_interval_of_the_intraclass_ratio() -> None:
    """Burdick, Borror and Montgomery (2005), chapter 2: bounds of part over gauge by F, exact."""
    found = single_by_anova(FORM[:, 0, :])
    between, within = found.table
    f = between.mean_square / within.mean_square
    low, high = (
        1.41 * math.sqrt((f / stats.f.ppf(q, between.freedom, within.freedom) - 1) / 3)
        for q in (0.975, 0.025)
    )

    assert found.appraiser is None
    assert found.classes.estimate == pytest.approx(1.41 * math.sqrt((f - 1) / 3), rel=1e-12)
    assert (found.classes.low, found.classes.high) == pytest.approx((low, high), rel=0.005)
    assert found.equipment.sigma == found.gauge.sigma
    assert "One person" in found.notes[0]


def test_one_person_alone_by_ranges_is_the_form_without_appraisers() -> None:
    table = FORM[:, 0, :]
    found = single_by_ranges(table, tolerance=4.0)

    assert np.ptp(table, axis=1).mean() == pytest.approx(0.184)  # Rbar of appraiser A on the form
    assert found.equipment.sigma.estimate == pytest.approx(0.184 * 0.5908, rel=1e-4)
    assert found.part.sigma.estimate == pytest.approx(np.ptp(table.mean(axis=1)) * 0.3146, rel=2e-4)
    assert found.equipment.of_tolerance == pytest.approx(600 * 0.184 * 0.5908 / 4.0, rel=1e-4)


def test_both_methods_agree_on_what_repetition_is() -> None:
    readings = _random_study(np.random.default_rng(3), (200, 1, 3), (1.0, 0.0, 0.0, 0.2))[:, 0, :]
    ours, ranges = single_by_anova(readings), single_by_ranges(readings)

    assert ours.equipment.sigma.estimate == pytest.approx(0.2, rel=0.1)
    assert ranges.equipment.sigma.estimate == pytest.approx(ours.equipment.sigma.estimate, rel=0.05)


def test_ranges_are_worth_the_degrees_of_freedom_of_patnaik() -> None:
    """Patnaik (1950), Biometrika 37, 78-87: mean range of one sample of 10 about 7.7, of 3 about 2.0; and
    Duncan's d2* of 1.91 and 3.18 (from memory)."""
    assert (range_freedom(10, 1), range_freedom(3, 1)) == pytest.approx((7.7, 2.0), abs=0.05)
    assert (d2_star(3), d2_star(10)) == pytest.approx((1.91, 3.18), abs=0.005)


def test_the_nested_study_of_the_nist_handbook() -> None:
    """NIST/SEMATECH e-Handbook 2.6.1: probe 2362, level 2 0.0362 (50 degrees of freedom), level 3 0.0197 (5);
    the printed level 1 of 0.0710 is not what its 60 day values pool to."""
    entry = outside.entry("nist.2.6.1.gauge.resistivity")
    rows = np.array(entry["inputs"]["rows"])
    for probe, expected in entry["expected"].items():
        of_probe = rows[rows[:, 2] == float(probe)]
        averages, sds = of_probe[:, 3].reshape(2, 5, 6), of_probe[:, 4].reshape(2, 5, 6)
        found = nested(averages, sds, repetitions=6)
        levels = (found.within_day, found.between_days, found.between_runs)
        ours = [level.sigma.estimate for level in levels]
        assert ours == pytest.approx([expected[f"level{i}"] for i in (1, 2, 3)], rel=1e-9)
        assert [level.freedom for level in levels] == [300, 50, 5]
        if probe == "2362":
            assert ours[1:] == pytest.approx([0.0362, 0.0197], abs=6e-5)  # 0.01965, rounded twice
            assert found.reported_sigma == pytest.approx(math.sqrt(ours[2] ** 2 + 5 / 6 * ours[1] ** 2))


def test_nested_components_add_up_to_what_was_put_in() -> None:
    """Level 2 squared: days plus level 1 over repetitions; level 3 squared: runs plus level 2 over days."""
    rng = np.random.default_rng(4)
    runs, parts, days, repetitions = 4, 400, 5, 3
    readings = (
        rng.normal(0, 0.5, (runs, parts, 1, 1)) + rng.normal(0, 0.3, (runs, parts, days, 1))
        + rng.normal(0, 0.2, (runs, parts, days, repetitions))
    )  # fmt: skip
    found = nested(readings.mean(axis=3), readings.std(axis=3, ddof=1), repetitions=repetitions)

    assert found.within_day.sigma.low < 0.2 < found.within_day.sigma.high
    assert (found.runs_sigma, found.days_sigma) == pytest.approx((0.5, 0.3), rel=0.05)
    one_reported = readings.mean(axis=3)[:, :, 0].std(axis=0, ddof=1)
    assert found.reported_sigma == pytest.approx(math.sqrt(float(np.mean(one_reported**2))), rel=0.05)


def test_the_check_standard_of_the_nist_handbook() -> None:
    """NIST/SEMATECH e-Handbook 2.6.2: mean 97.0698, long-term 0.0268 (24), short-term 0.06139 (125)."""
    found = check_standard(CHECKS, CHECK_SDS, freedom_each=5)

    assert (found.mean, found.sigma.estimate) == pytest.approx((97.06984, 0.0267981342634), rel=1e-9)
    assert found.short_sigma == pytest.approx(0.0613879466997, rel=1e-9)
    assert found.short_freedom == 125
    assert found.autocorrelation.r == pytest.approx(-0.0636566686162, rel=1e-9)
    assert found.is_stable
    assert found.doubts(97.07, 0.06) == ()
    assert "above its limits" in found.doubts(97.2)[0]
    assert "Repetitions spread by 0.2" in found.doubts(97.07, 0.2)[0]


def test_limits_of_a_check_standard_cry_wolf_as_seldom_as_they_say() -> None:
    rng = np.random.default_rng(5)
    alarms = sum(
        bool(check_standard(rng.standard_normal(12)).doubts(rng.standard_normal())) for _ in range(4000)
    )

    assert stats.binomtest(alarms, 4000, 0.0027).pvalue > 0.001


def test_a_gauge_that_drifts_or_was_dropped_is_seen() -> None:
    rng = np.random.default_rng(6)
    drifting = check_standard(rng.normal(10, 0.1, 60) + 0.02 * np.maximum(np.arange(60) - 20, 0))
    dropped = check_standard(rng.normal(10, 0.1, 60) + np.where(np.arange(60) >= 40, 0.4, 0.0))

    assert (drifting.is_stable, drifting.change.kind) == (False, "drift")
    assert (dropped.is_stable, dropped.change.kind) == (False, "step")


@given(
    shift=st.floats(-1e5, 1e5), scale=st.floats(1e-3, 1e3), flip=st.sampled_from([1.0, -1.0]),
    seed=st.integers(0, 2**32 - 1),
)  # fmt: skip
@settings(max_examples=25, deadline=None)
def test_another_zero_or_unit_moves_no_share(shift: float, scale: float, flip: float, seed: int) -> None:
    y = _random_study(np.random.default_rng(seed), (5, 2, 3), (2.0, 0.5, 0.3, 0.5))
    for study, table in (
        (by_anova, y), (by_ranges, y), (single_by_anova, y[:, 0, :]), (single_by_ranges, y[:, 0, :]),
    ):  # fmt: skip
        plain, moved = study(table), study(shift + flip * scale * table)
        assert moved.gauge.sigma.estimate == pytest.approx(scale * plain.gauge.sigma.estimate, rel=1e-5)
        assert moved.gauge_share.low == pytest.approx(plain.gauge_share.low, rel=1e-4, abs=1e-6)
        assert moved.notes[1:] == plain.notes[1:]


def test_a_gauge_without_a_step_fine_enough_is_told() -> None:
    found = single_by_anova([[1.0, 1.0], [2.0, 2.0], [3.0, 3.0]])

    assert found.classes.estimate == math.inf
    assert found.whole_classes is None
    assert "step of the gauge hides its repeatability" in found.notes[1]
    assert json.loads(json.dumps(found.to_dict()))["classes"]["estimate"] is None


def test_parts_that_cannot_be_told_apart_are_told() -> None:
    found = single_by_anova([[1.0, 2.0], [2.0, 1.0], [1.0, 2.0]])

    assert (found.part.sigma.estimate, found.whole_classes) == (0.0, 1)
    assert found.gauge_share.estimate == 100.0
    assert "cannot be told apart" in found.notes[1]


def test_the_record_carries_table_intervals_and_notes() -> None:
    held = json.loads(json.dumps(by_anova(FORM, tolerance=4.0).to_dict()))

    assert held["table"][0] == {"name": "part", "squares": pytest.approx(88.3619344444), "freedom": 9}
    assert held["gauge"]["of_tolerance"] == pytest.approx(600 * 0.302371522323 / 4)
    assert json.loads(json.dumps(check_standard(CHECKS).to_dict()))["change"]["kind"] == "none"


def _holed() -> np.ndarray:
    table = FORM.copy()
    table[2, 1, 0] = math.nan
    return table


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: by_anova(FORM[0]), "table of parts x appraisers x trials; this has 2 dimensions"),
        (lambda: by_anova(_holed()), "part 3, appraiser 2, trial 1 is missing or infinite; gauge it again"),
        (lambda: by_ranges(np.where(np.isnan(_holed()), math.inf, FORM)), "part 3, appraiser 2, trial 1"),
        (lambda: by_anova([[[1.0, 2.0], [3.0]], [[1.0, 2.0], [3.0, 4.0]]]), "no full table .* same trials"),
        (lambda: by_anova(FORM[:, :, :1]), "1 trial shows no spread; take 2 trials or more"),
        (lambda: by_anova(FORM[:1]), "1 part shows"),
        (lambda: by_anova(np.full((3, 2, 2), 4.0)), "All readings are 4; take parts that differ"),
        (lambda: by_anova(FORM, tolerance=-1.0), "tolerance is -1.0; give its width"),
        (lambda: by_anova(FORM, confidence=1.0), "confidence is 1.0"),
        (lambda: by_anova(FORM, pooling_level=2.0), "pooling level is 2.0"),
        (lambda: by_ranges([[[1.0, 1.0], [2.0, 2.0]], [[2.0, 2.0], [1.0, 1.0]]]), "No range shows"),
        (lambda: single_by_anova([[1.0, 2.0]]), "1 part shows"),
        (lambda: single_by_anova([]), "1 dimensions"),
        (lambda: nested(np.zeros((2, 2, 2)), np.zeros((2, 2, 2)), repetitions=3), "All readings are 0"),
        (lambda: nested(FORM, FORM, repetitions=3), "needs its standard deviation, 0 or more"),
        (lambda: nested(FORM, abs(FORM), repetitions=1), "1 repetition a day"),
        (lambda: check_standard([1.0, 2.0]), "8 or more values"),
        (lambda: check_standard([1.0] * 9), "All 9 values are 1"),
        (lambda: check_standard([*CHECKS[:9], math.nan]), "Value 9 of the check standard is missing"),
        (lambda: check_standard(CHECKS, CHECK_SDS[:3], freedom_each=5), "Give 25 short-term"),
        (lambda: check_standard(CHECKS, CHECK_SDS), "degrees of freedom of each are 0"),
    ],
)
def test_bad_input_is_refused_with_a_sentence(call: Callable[[], object], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        call()
