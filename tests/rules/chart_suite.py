"""What the suites of all charts share: values to feed them, folding, and the search for a forgotten one."""

import importlib
import inspect
import math
import pkgutil

import numpy as np
from hypothesis import strategies as st

import rules.charts
from rules.charts import CHARTS, ROW_CHARTS
from rules.charts.record import Record

# All on eighths, so that scaling by 4 and moving by 16 is exact.
eighths = st.integers(128, 192).map(lambda eighth: eighth / 8)
whole = st.integers(0, 50).map(float)
missing = st.sampled_from([math.nan, math.inf, -math.inf])


def fold(chart, x, state=None):
    """Feed a chart value by value, or row by row."""
    state = chart.start() if state is None else state
    points = []
    for value in x:
        state, point = chart.step(state, value)
        points.append(point)
    return state, points


def sums(chart, x):
    """The two sums of a CUSUM after each value."""
    state, rows = chart.start(), []
    for value in x:
        state, _ = chart.step(state, value)
        rows.append((state.upper, state.lower))
    return np.array(rows)


def agree(track, points):
    """Assert that the whole-array form says what the streaming form said."""
    np.testing.assert_allclose(track.statistic, [p.statistic for p in points], rtol=0, atol=1e-9)
    np.testing.assert_allclose(track.share, [p.share for p in points], rtol=1e-9, atol=1e-9)
    assert track.direction.tolist() == [p.direction for p in points]
    assert list(track.signals) == [(i, rule) for i, p in enumerate(points) for rule in p.signals]


def forms_agree(chart, x):
    """Assert that both forms say the same of a series, or of rows, and end in the same state."""
    state, points = fold(chart, x.tolist())
    end, track = chart.run(x)
    agree(track, points)
    assert end == state


def unlisted(without=None):
    """Names of charts that some module of the package defines and no registry holds; `without` one of them.

    What has no name of its own is no chart but what several of them share.
    """
    listed = {kind for name, kind in (CHARTS | ROW_CHARTS).items() if name != without}
    found = set()
    for module in pkgutil.iter_modules(rules.charts.__path__, "rules.charts."):
        classes = inspect.getmembers(importlib.import_module(module.name), inspect.isclass)
        found |= {
            c for _, c in classes if issubclass(c, Record) and isinstance(getattr(c, "name", None), str)
        }
    return {chart.__name__ for chart in found - listed}
