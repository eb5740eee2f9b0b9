"""How long the array forms take, as a multiple of numpy.cumsum of the same array in the same process.

Run `python tests/benchmarks/bench_rules.py --values 10000000`. The goal at 10 million values: individuals
with all eight run rules plus a CUSUM in at most 12 times the cumulative sum. Other charts are listed for
comparison. Times are of the processor (one thread), so that other work on the machine disturbs them less.
"""

import argparse
import time
from collections.abc import Callable

import numpy as np

from rules.charts import CHARTS, make
from rules.run_rules import RULES

GOAL = 12.0
LEVEL = {"center": 0.0, "sigma": 1.0}
CASES = {
    "individuals, eight rules": ("individuals", {**LEVEL, "rules": [rule.name for rule in RULES]}),
    "cusum": ("cusum", LEVEL),
    "individuals, limit alone": ("individuals", LEVEL),
    "moving range": ("moving_range", {"sigma": 1.0}),
    "ewma": ("ewma", LEVEL),
    "residual cusum": ("residual", {**LEVEL, "phi": 0.5}),
    "setting": ("setting", {"setpoint": 0.0, "tolerance": 3.0}),
    "engineering limits": ("engineering_limits", {"lower": -3.0, "upper": 3.0}),
    "spread": ("spread", {"sigma": 1.0}),
    "c": ("c", {"center": 4.0, "tail": 0.00135}),
    "np": ("np", {"center": 4.0, "size": 50, "tail": 0.00135}),
}
OF_COUNTS = {"c", "np"}
COUNTED = ("individuals, eight rules", "cusum")


def best_of(times: int, work: Callable[[], object]) -> float:
    """Seconds of the fastest of several tries."""
    taken = []
    for _ in range(times):
        began = time.process_time()
        work()
        taken.append(time.process_time() - began)
    return min(taken)


def main() -> None:
    """Print a line a chart and the ratio the goal is about."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--values", type=int, default=1_000_000, help="length of the array (1000000)")
    parser.add_argument("--tries", type=int, default=3, help="the fastest of so many counts (3)")
    asked = parser.parse_args()
    x = np.random.default_rng(20261124).standard_normal(asked.values)
    counts = np.floor(np.abs(4.0 * x))
    unit = best_of(asked.tries, lambda: np.cumsum(x))
    print(f"numpy.cumsum of {asked.values:,} values: {1000 * unit:.1f} ms")
    ratios = {}
    for label, (name, parameters) in CASES.items():
        chart, values = make(name, parameters), counts if name in OF_COUNTS else x
        ratios[label] = best_of(asked.tries, lambda chart=chart, values=values: chart.run(values)) / unit
        print(f"{label:<26}{ratios[label]:6.2f} x")
    total = sum(ratios[label] for label in COUNTED)
    print(f"{' + '.join(COUNTED)}: {total:.2f} x (goal {GOAL:.0f} x)")


if __name__ == "__main__":
    assert {name for name, _ in CASES.values()} == set(CHARTS)
    main()
