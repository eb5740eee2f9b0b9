"""Straight lines and fits of several predictors against certified values.

A gauge is calibrated by a line of its readings over reference values; the data set Norris is such a
calibration (of ozone monitors). Fits of several predictors are left to statsmodels; that call is held against
the certified sets here, so that a change of its method or release shows.
"""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from statsmodels.api import OLS

from rules.dome.slope import within_runs

# NIST StRD, Linear Regression, Norris: reference concentration and reading, 36 pairs.
NORRIS_X = [
    0.2, 337.4, 118.2, 884.6, 10.1, 226.5, 666.3, 996.3, 448.6, 777.0, 558.2, 0.4, 0.6, 775.5, 666.9, 338.0,
    447.5, 11.6, 556.0, 228.1, 995.8, 887.6, 120.2, 0.3, 0.3, 556.8, 339.1, 887.2, 999.0, 779.0, 11.1, 118.3,
    229.2, 669.1, 448.9, 0.5,
]  # fmt: skip
NORRIS_Y = [
    0.1, 338.8, 118.1, 888.0, 9.2, 228.1, 668.5, 998.5, 449.1, 778.9, 559.2, 0.3, 0.1, 778.1, 668.8, 339.3,
    448.9, 10.8, 557.7, 228.3, 998.0, 888.8, 119.6, 0.3, 0.6, 557.6, 339.3, 888.0, 998.5, 778.9, 10.2, 117.6,
    228.9, 668.4, 449.2, 0.2,
]  # fmt: skip


def _entry(name: str) -> dict[str, Any]:
    folder = os.environ.get("EVENRUN_OUTSIDE")
    if not folder:
        pytest.skip("EVENRUN_OUTSIDE is not set: no folder with reference values")
    entries = json.loads((Path(folder) / "reference" / "reference.json").read_text())["entries"]
    return next(entry for entry in entries if entry["id"] == name)


def _design(inputs: dict[str, Any]) -> tuple[np.ndarray, np.ndarray]:
    """Response and predictors with a constant: columns of a table, or powers of x up to the fifth."""
    if "rows" in inputs:
        rows = np.array(inputs["rows"])
        return rows[:, 0], np.column_stack([np.ones(len(rows)), rows[:, 1:]])
    return np.array(inputs["y"]), np.vander(np.array(inputs["x"], dtype=float), 6, increasing=True)


def test_the_slope_of_norris_meets_its_certified_digits() -> None:
    """NIST StRD, Norris: slope 1.00211681802045, its standard deviation 0.000429796848199937."""
    found = within_runs(np.array(NORRIS_X), np.array(NORRIS_Y), ["one run"] * 36)

    assert found is not None
    assert found.estimate == pytest.approx(1.00211681802045, rel=1e-13)
    assert found.error == pytest.approx(0.000429796848199937, rel=1e-12)
    assert found.freedom == 34


def test_the_retyped_pairs_are_those_of_the_reference() -> None:
    entry = _entry("strd.lin.Norris")

    assert (entry["inputs"]["x"], entry["inputs"]["y"]) == (NORRIS_X, NORRIS_Y)
    assert entry["expected"]["coef"][1] == pytest.approx(1.00211681802045, rel=1e-14)


@pytest.mark.parametrize("name", ["Longley", "Wampler1", "Wampler2", "Wampler3", "Wampler4", "Wampler5"])
def test_fits_of_several_predictors_meet_their_certified_digits(name: str) -> None:
    """NIST StRD, Longley and Wampler1 to 5: nearly dependent predictors, fits of the library's default."""
    entry = _entry(f"strd.lin.{name}")
    expected, rel = entry["expected"], entry["tolerance"]["rel"]
    nothing = entry["tolerance"].get("abs_where_expected_is_0", 0.0)
    response, predictors = _design(entry["inputs"])
    fit = OLS(response, predictors).fit()

    assert fit.params == pytest.approx(expected["coef"], rel=rel)
    assert fit.bse == pytest.approx(expected["se"], rel=rel, abs=nothing)
    assert fit.rsquared == pytest.approx(expected["R2"], rel=rel)
