"""Does the process hold the tolerance? Indices with intervals, rejects, and the same for skewed values.

References
----------
ISO 22514-2:2017, Process capability and performance of time-dependent process models.
"""

from rules.capability.families import FAMILIES
from rules.capability.fitted import by_family
from rules.capability.gauge_share import GaugeShare
from rules.capability.indices import Capability, Indices, capability
from rules.capability.intervals import around_target, nearest, nearest_bissell, potential
from rules.capability.ordered import by_order, quantile_bounds
from rules.capability.quantiles import QuantileCapability
from rules.capability.rejects import Rejects, reject_ppm
from rules.capability.specification import Specification
from rules.capability.spread import Spread

__all__ = [
    "FAMILIES",
    "Capability",
    "GaugeShare",
    "Indices",
    "QuantileCapability",
    "Rejects",
    "Specification",
    "Spread",
    "around_target",
    "by_family",
    "by_order",
    "capability",
    "nearest",
    "nearest_bissell",
    "potential",
    "quantile_bounds",
    "reject_ppm",
]
