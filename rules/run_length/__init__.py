"""Average run lengths: how many shots a chart goes on the average before it signals.

All are zero-state (the chart starts fresh, with the process already where ``shift`` puts it), in shots;
shifts are in sigma. None of them simulates, but for the one that says so.
"""

from rules.run_length.autocorrelated import cusum_ar1_arl, individuals_ar1_arl
from rules.run_length.individuals import individuals_arl, simulated_individuals_arl
from rules.run_length.integral import combined_arl, cusum_arl, ewma_arl
from rules.run_length.patterns import alternating_arl, trend_arl
from rules.run_length.zones import ZoneRule, zone_arl

__all__ = [
    "ZoneRule",
    "alternating_arl",
    "combined_arl",
    "cusum_ar1_arl",
    "cusum_arl",
    "ewma_arl",
    "individuals_ar1_arl",
    "individuals_arl",
    "simulated_individuals_arl",
    "trend_arl",
    "zone_arl",
]
