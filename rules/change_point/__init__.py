"""When did it change? Steps, drifts, many shifts, and which of them the values can tell apart.

One module a question: :mod:`step` and :mod:`drift` date a change that is supposed to have happened, with a
confidence set; :mod:`form` says which of the two it was; :mod:`search` finds many shifts; :mod:`scatter`
joins those that only scatter; :mod:`penalty` says how much a shift must explain to count; :mod:`differences`
estimates sigma and phi past shifts.

References
----------
Hinkley (1970), Perry and Pignatiello (2006), Killick et al. (2012), Zhang and Siegmund (2007): in full in
each module.
"""

from rules.change_point.differences import lag_one_of_differences
from rules.change_point.drift import Drift, drift
from rules.change_point.form import Form, form
from rules.change_point.penalty import penalty_in_words, penalty_of
from rules.change_point.scatter import beyond_scatter
from rules.change_point.search import many
from rules.change_point.step import ChangePoint, step

__all__ = [
    "ChangePoint",
    "Drift",
    "Form",
    "beyond_scatter",
    "drift",
    "form",
    "lag_one_of_differences",
    "many",
    "penalty_in_words",
    "penalty_of",
    "step",
]
