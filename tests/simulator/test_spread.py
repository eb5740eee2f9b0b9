"""A sound press varies as the table of spreads says, over several seeds and presses.

The ranges and their sources (public press data: Polenta et al., Information 13 (2022) 272; else common
practice, no source) stand in the table itself.
"""

import numpy as np
import numpy.typing as npt
import pytest

from collector.contract.quantities import QUANTITIES
from simulator.floor import post
from simulator.health import SOUND
from simulator.press import cold_start, shoot
from simulator.spread import SPREADS, TIMERS, Spread

SHOTS, SETTLING = 1_500, 60
SEEDS = (11, 12, 13, 14)
PRESSES = (1, 2, 4)  # every blend

Columns = dict[str, npt.NDArray[np.float64]]


def sound_run(number: int, seed: int) -> Columns:
    setup, rng = post(number).setup, np.random.default_rng(seed)
    state, rows = cold_start(setup, rng), []
    for _ in range(SETTLING + SHOTS):
        state, outcome = shoot(state, setup, SOUND, ambient_c=23.0, rng=rng)
        rows.append(outcome.values)
    return {key: np.array([row[key] for row in rows[SETTLING:]]) for key in rows[0]}


@pytest.fixture(scope="module")
def runs() -> list[Columns]:
    return [sound_run(number, seed) for number in PRESSES for seed in SEEDS]


def lag_1(values: npt.NDArray[np.float64]) -> float:
    centered = values - values.mean()
    return float(centered[1:] @ centered[:-1] / (centered @ centered))


@pytest.mark.parametrize("row", SPREADS, ids=lambda row: row.key)
def test_every_run_keeps_the_ranges_of_the_table(row: Spread, runs: list[Columns]) -> None:
    for run in runs:
        for key in run:
            if key.split(".")[0] == row.key:
                values = run[key]
                spread = values.std() / (values.mean() if row.scale == "relative" else 1.0)
                assert row.sigma[0] <= spread <= row.sigma[1], key
                assert row.lag_1[0] <= lag_1(values) <= row.lag_1[1], key


def test_the_table_has_every_reported_quantity_and_none_twice(runs: list[Columns]) -> None:
    reported = {key.split(".")[0] for key in runs[0]} - {*TIMERS, "time_in_mold"}
    assert sorted(row.key for row in SPREADS) == sorted(reported)
    assert reported <= {quantity.key.split(".")[0] for quantity in QUANTITIES}


def test_timers_stand_still_while_nobody_moves_them(runs: list[Columns]) -> None:
    for run in runs:
        for key in (*TIMERS, "time_in_mold"):
            assert np.ptp(run[key]) == 0.0


def test_a_long_run_does_not_wander_off(runs: list[Columns]) -> None:
    """Means of both halves agree within what their spread and correlation allow."""
    for run in runs:
        for row in SPREADS:
            values = run[row.key if row.key in run else f"{row.key}.1"]
            first, second = np.split(values, 2)
            r = min(max(lag_1(values), 0.0), 0.97)
            error = values.std() * np.sqrt(2 / len(first) * (1 + r) / (1 - r))
            assert abs(first.mean() - second.mean()) < 4.5 * error, row.key
