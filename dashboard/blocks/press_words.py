"""Words of the press page. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import pandas as pd

from collector.contract.figures import significant
from rules.run_rules import RULES, named, sentence

_BY_CHART = {
    ("cusum", "beyond_limit"): "cumulative sum beyond its limit",
    ("ewma", "beyond_limit"): "moving average beyond its limit",
    ("moving_range", "beyond_limit"): "jump from shot to shot beyond its limit",
    ("setting", "beyond_limit"): "timer changed",
    ("residual", "beyond_limit"): "what is new in the shots, summed, beyond its limit",
    ("spread", "beyond_limit"): "scatter from shot to shot beyond its limit",
    ("engineering_limits", "beyond_limit"): "beyond its engineering limit",
}
_BY_RULE = {rule.name: sentence(rule) for rule in RULES} | {
    "beyond_limit": "beyond its limit",
    "setpoint_deviation": "setpoint outside what the recipe allows",
    "did_not_follow": "did not follow its setpoint",
    "moved_alone": "left its level though its setpoint stood",
    "no_cushion": "no melt left in front of the screw",
    "stuck": "the same reading shot after shot: is the sensor well?",
    "zero": "zero, which it never was: is the sensor well?",
    "unit_jump": "as if in another unit: was the gateway changed?",
    "implausible": "a value it cannot have: is the sensor well?",
    "coarse": "coarser steps than before: was the gateway changed?",
}


def rule_words(rule: str, chart: str | None = None) -> str:
    """A rule in plain English, with the chart that met it where that says more."""
    return _BY_CHART.get((chart or "", rule)) or _BY_RULE.get(rule) or _with_own_numbers(rule)


def _with_own_numbers(rule: str) -> str:
    """``same_side:8`` as a sentence; a name that is no rule as its words."""
    try:
        return sentence(named([rule])[0])
    except ValueError:
        return rule.replace("_", " ")


def shot_label(counter: Any, at: pd.Timestamp) -> str:
    """Name of a shot for people: its counter, and the shop's clock."""
    number = "shot" if pd.isna(counter) else f"shot {int(counter):,}"
    return f"{number} at {at:%H:%M:%S}"


def cost_words(costs: Iterable[Mapping[str, Any]], budget_per_day: float) -> str:
    """One sentence on what the charts in force cost in false alarms; empty when that is not known.

    Each row of limits carries the cost of the plan it was made under, which covers all characteristics of the
    press together, so the largest one speaks for the press.
    """
    known = [float(cost["false_alarms_per_shift"]) for cost in costs if "false_alarms_per_shift" in cost]
    if not known:
        return ""
    return (
        f"Expect about {significant(max(known), 2)} false alarms in a shift of 8 h from these charts, all "
        f"characteristics together (the floor allows {budget_per_day:g} in 24 h)."
    )


def legend(*, holds: bool, provisional: bool, cumulative: bool) -> str:
    """The marks of the page in words; only those that can be on it."""
    parts = ["● shot", "○ startup shot, not charted", "◆ yellow: signal", "┄ limit"]
    if provisional:
        parts.append("⋯ provisional limit, from few shots")
    if holds:
        parts.append("■ blue band: on hold")
    if cumulative:
        parts.append("cumulative, as a share of its limit: small shifts added up, a signal above 1")
    return "  ·  ".join(parts)
