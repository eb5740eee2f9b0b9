"""What do the first shots of a qualified run (phase I) allow? A baseline and a chart plan. One module a part.

Each module names its own source; :mod:`rules.baseline.study` puts the answers together, and
:mod:`rules.baseline.proposal` draws the conclusion.
"""

from rules.baseline.autocorrelation import Autocorrelation, lag_one
from rules.baseline.joint import JointBaseline, autocorrelations, joint_baseline, subgroup_baseline
from rules.baseline.joint_study import JointStudy, joint_study, subgroup_study
from rules.baseline.joint_widening import widened_mewma_limit
from rules.baseline.outliers import Outlier, propose
from rules.baseline.planned import PlannedChart, Proposal
from rules.baseline.proposal import propose_charts
from rules.baseline.refusals import ConstantValues, InfiniteValue, TooFewValues
from rules.baseline.resolution import sigma_floor, step_of
from rules.baseline.spread import moving_range_sigma
from rules.baseline.startup import first_steady_index
from rules.baseline.studied import Study
from rules.baseline.study import provisional, study
from rules.baseline.widening import Floor, Widening, widening
from rules.baseline.without_sigma import propose_counts, propose_setting

__all__ = [
    "Autocorrelation",
    "ConstantValues",
    "Floor",
    "InfiniteValue",
    "JointBaseline",
    "JointStudy",
    "Outlier",
    "PlannedChart",
    "Proposal",
    "Study",
    "TooFewValues",
    "Widening",
    "autocorrelations",
    "first_steady_index",
    "joint_baseline",
    "joint_study",
    "lag_one",
    "moving_range_sigma",
    "propose",
    "propose_charts",
    "propose_counts",
    "propose_setting",
    "provisional",
    "sigma_floor",
    "step_of",
    "study",
    "subgroup_baseline",
    "subgroup_study",
    "widened_mewma_limit",
    "widening",
]
