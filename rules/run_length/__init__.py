"""How many shots does a chart go before it signals, on the average and in distribution?

All are zero-state (the chart starts fresh, with the process already where ``shift`` puts it), in shots, but
for the ``steady`` ones; shifts are in sigma. None of them simulates, but for the one that says so. What ends
in ``arl`` is an average, in ``run_length`` a distribution; the sources stand at each.
"""

from rules.run_length.autocorrelated import combined_ar1_arl, cusum_ar1_arl, individuals_ar1_arl
from rules.run_length.cusum import (
    combined_arl,
    combined_run_length,
    cusum_arl,
    cusum_run_length,
    cusum_steady_arl,
)
from rules.run_length.distribution import RunLengthDistribution
from rules.run_length.ewma import (
    combined_ewma_arl,
    combined_ewma_run_length,
    ewma_arl,
    ewma_run_length,
    ewma_steady_arl,
)
from rules.run_length.individuals import (
    individuals_arl,
    individuals_run_length,
    simulated_individuals_arl,
)
from rules.run_length.joint import mewma_arl, mewma_limit, shift_size, t2_arl, t2_limit
from rules.run_length.patterns import alternating_arl, alternating_run_length, trend_arl, trend_run_length
from rules.run_length.zone_chain import ZoneRule
from rules.run_length.zones import zone_arl, zone_run_length, zone_steady_arl

__all__ = [
    "RunLengthDistribution",
    "ZoneRule",
    "alternating_arl",
    "alternating_run_length",
    "combined_ar1_arl",
    "combined_arl",
    "combined_ewma_arl",
    "combined_ewma_run_length",
    "combined_run_length",
    "cusum_ar1_arl",
    "cusum_arl",
    "cusum_run_length",
    "cusum_steady_arl",
    "ewma_arl",
    "ewma_run_length",
    "ewma_steady_arl",
    "individuals_ar1_arl",
    "individuals_arl",
    "individuals_run_length",
    "mewma_arl",
    "mewma_limit",
    "shift_size",
    "simulated_individuals_arl",
    "t2_arl",
    "t2_limit",
    "trend_arl",
    "trend_run_length",
    "zone_arl",
    "zone_run_length",
    "zone_steady_arl",
]
