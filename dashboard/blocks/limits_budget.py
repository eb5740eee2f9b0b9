"""What the proposed charts cost the press in false alarms, and what textbook charts would cost it."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pandas as pd
import streamlit as st

from collector.actions.limits_steady import Steady
from collector.actions.limits_study import SHIFTS_PER_DAY, Proposed
from collector.contract.figures import significant
from dashboard.blocks.press_charts import themed
from dashboard.charts.false_alarms import false_alarms
from rules import budget
from rules.run_rules import RULES

CLASSIC = {
    "Three-sigma limits of single shots": ("beyond_limit",),
    "The same with all eight run rules": tuple(rule.name for rule in RULES),
}
PROPOSED = "The charts proposed here"
PHI_STEP = 0.05
SEED = 1  # the eight rules are simulated; the same answer each time


def show(proposals: Sequence[Proposed], steady: Steady, allowed_per_day: float) -> None:
    """The total of the press beside its budget, and beside textbook charts."""
    own = per_shift(proposals)
    st.subheader(sentence(own, allowed_per_day), anchor=False)
    charted = [each for each in proposals if each.study is not None]
    if not charted:
        return
    phis = tuple(sorted(_coarse(each) for each in charted))
    rows = [{"name": PROPOSED, "per_day": SHIFTS_PER_DAY * own, "proposed": True}]
    rows += [
        {"name": name, "per_day": _classic(rules, phis, steady.floor.cycle_time_s), "proposed": False}
        for name, rules in CLASSIC.items()
    ]
    frame = pd.DataFrame(rows)
    frame["words"] = [
        f"{number(each)} in 24 h, {number(each / SHIFTS_PER_DAY)} in 8 h" for each in frame["per_day"]
    ]
    st.altair_chart(
        themed(false_alarms(frame, allowed=allowed_per_day)), key="limits_budget_chart",
        alt="False alarms of the press with the proposed charts, with three-sigma limits, with all run rules",
    )  # fmt: skip
    st.caption(
        f"All {len(charted)} charted characteristics together, at a cycle of "
        f"{steady.floor.cycle_time_s:g} s. Textbook charts are counted with their sigma known and "
        "with the autocorrelation found here."
    )


def per_shift(proposals: Sequence[Proposed]) -> float:
    """False alarms of the press in 8 h, of those proposals that have a rate."""
    return math.fsum(each.proposal.false_alarms_per_shift or 0.0 for each in proposals)


def sentence(own_per_shift: float, allowed_per_day: float) -> str:
    """The total against the budget."""
    per_day = SHIFTS_PER_DAY * own_per_shift
    expected = f"{number(per_day)} false alarm{'' if round(per_day, 1) == 1.0 else 's'}"
    return f"These charts raise about {expected} in 24 h; the floor allows {allowed_per_day:g}"


def number(alarms: float) -> str:
    """A number of false alarms: two digits that count, never as a power of ten."""
    return significant(alarms, 2)


def _coarse(each: Proposed) -> float:
    assert each.study is not None
    phi = min(max(each.study.baseline.phi, 0.0), 0.95)
    return round(phi / PHI_STEP) * PHI_STEP


@st.cache_data(max_entries=50, show_spinner="Computing what textbook charts would cost")
def _classic(rules: tuple[str, ...], phis: tuple[float, ...], cycle_time_s: float) -> float:
    """False alarms in 24 h of the same rules on every characteristic."""
    found = {
        phi: budget.cost(
            rules, cycle_time_s=cycle_time_s, phi=phi, shifts=(), rng=np.random.default_rng(SEED)
        ).false_alarms_per_day
        for phi in set(phis)
    }
    return math.fsum(found[phi] for phi in phis)
