"""Which limits hold a share of all values with stated confidence? Statistical tolerance intervals.

Normal with unknown mean and standard deviation, and distribution-free from the ordered values. Not to be
taken for the tolerance (specification) that a customer sets.

References
----------
ISO 16269-6:2014, Determination of statistical tolerance intervals.
"""

from rules.tolerance.factors import k_howe, k_one_sided, k_two_sided
from rules.tolerance.interval import (
    ToleranceInterval,
    distribution_free_interval,
    normal_interval,
    smallest_sample,
)

__all__ = [
    "ToleranceInterval",
    "distribution_free_interval",
    "k_howe",
    "k_one_sided",
    "k_two_sided",
    "normal_interval",
    "smallest_sample",
]
