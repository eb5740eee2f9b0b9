"""Which constants keep a false-alarm budget, and what do charts with given constants cost?

A press may raise so many false alarms a day, all its characteristics together. `press` shares them out,
`plan` turns a share into constants and constants into cost, `known` finds them for known parameters,
`estimated` widens them for parameters from a baseline, whose errors are in `errors`, `brownian` is the closed
form that makes this quick, `residuals` holds it against charts of residuals and against what no chart can
beat, and `classic` says what textbook charts cost. Each names its source.
"""

from rules.budget.known import INDIVIDUALS_SHARE, NARROWEST_WIDTH
from rules.budget.plan import SHIFTS, Cost, Plan, coarse, cost, solve
from rules.budget.press import Characteristic, PressPlan, solve_press

__all__ = [
    "INDIVIDUALS_SHARE",
    "NARROWEST_WIDTH",
    "SHIFTS",
    "Characteristic",
    "Cost",
    "Plan",
    "PressPlan",
    "coarse",
    "cost",
    "solve",
    "solve_press",
]
