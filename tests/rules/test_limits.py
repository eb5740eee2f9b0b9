"""Baselines: what they refuse, and how far they are trusted."""

import json
import math

import pytest

from rules.limits import Baseline


def test_the_effective_size_shrinks_with_autocorrelation():
    # Bayley and Hammersley (1946): n (1 - phi) / (1 + phi).
    assert Baseline(center=0, sigma=1, n=300, phi=0.5).effective_n() == pytest.approx(100)


@pytest.mark.parametrize(
    ("n", "phi", "standing"),
    [
        (99, 0.0, "provisional"),
        (100, 0.0, "usable"),
        (299, 0.0, "usable"),
        (300, 0.0, "firm"),
        (300, 0.6, "provisional"),
    ],
)
def test_the_standing_follows_from_the_effective_size(n, phi, standing):
    assert Baseline(center=0, sigma=1, n=n, phi=phi).standing() == standing


def test_a_given_sigma_stands_firm():
    assert Baseline(center=0, sigma=1, n=0, sigma_method="given").standing() == "firm"


@pytest.mark.parametrize(("phi", "kept"), [(-0.4, 0.0), (0.3, 0.3), (1.2, 0.99)])
def test_phi_is_clipped(phi, kept):
    assert Baseline(center=0, sigma=1, n=10, phi=phi).phi == kept


def test_a_baseline_survives_a_trip_through_json():
    baseline = Baseline(center=58.3, sigma=0.12, n=140, phi=0.31, sigma_method="floor")
    assert Baseline.from_dict(json.loads(json.dumps(baseline.to_dict()))) == baseline


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"center": math.nan}, "center .* finite"),
        ({"sigma": 0.0}, "sigma .* above zero"),
        ({"sigma": math.inf}, "sigma .* above zero"),
        ({"n": -1}, "-1 shots"),
        ({"phi": math.nan}, "autocorrelation .* finite"),
        ({"sigma_method": "guess"}, "'guess' is unknown; use one of moving_range"),
    ],
)
def test_what_makes_no_baseline_is_refused(wrong, said):
    with pytest.raises(ValueError, match=said):
        Baseline(**{"center": 0.0, "sigma": 1.0, "n": 30} | wrong)
