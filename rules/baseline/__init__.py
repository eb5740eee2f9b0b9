"""Phase I: from the first shots of a qualified run to a baseline. One module a question."""

from rules.baseline.autocorrelation import Autocorrelation, lag_one
from rules.baseline.outliers import Outlier, propose
from rules.baseline.resolution import sigma_floor, step_of
from rules.baseline.startup import first_steady_index
from rules.baseline.study import Study, moving_range_sigma, provisional, study

__all__ = [
    "Autocorrelation",
    "Outlier",
    "Study",
    "first_steady_index",
    "lag_one",
    "moving_range_sigma",
    "propose",
    "provisional",
    "sigma_floor",
    "step_of",
    "study",
]
