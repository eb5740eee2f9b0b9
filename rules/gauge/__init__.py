"""How good is the gauge? Crossed, single-person and nested studies, and a check standard over time.

References
----------
Burdick, R. K., Borror, C. M. and Montgomery, D. C. (2005). Design and Analysis of Gauge R&R Studies. SIAM.
ISO 22514-7:2021, Capability of measurement processes. NIST/SEMATECH e-Handbook, chapter 2.
"""

from rules.gauge.anova import CrossedTable, OneWay, Source, one_way, two_way
from rules.gauge.check_standard import CheckStandard, check_standard
from rules.gauge.components import Term, variance_bounds
from rules.gauge.crossed import by_anova, by_ranges
from rules.gauge.nested import Level, NestedStudy, nested
from rules.gauge.single import single_by_anova, single_by_ranges
from rules.gauge.study import Component, GaugeStudy

__all__ = [
    "CheckStandard",
    "Component",
    "CrossedTable",
    "GaugeStudy",
    "Level",
    "NestedStudy",
    "OneWay",
    "Source",
    "Term",
    "by_anova",
    "by_ranges",
    "check_standard",
    "nested",
    "one_way",
    "single_by_anova",
    "single_by_ranges",
    "two_way",
    "variance_bounds",
]
