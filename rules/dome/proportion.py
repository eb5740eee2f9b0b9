"""How sure is a proportion counted on few discs?

References
----------
Wilson, E. B. (1927). Probable inference, the law of succession, and statistical inference. Journal of
the American Statistical Association 22, 209-212.
Clopper, C. J. and Pearson, E. S. (1934). The use of confidence or fiducial limits illustrated in the
case of the binomial. Biometrika 26, 404-413.
"""

from __future__ import annotations

import math

from scipy import special

from rules.dome.welch import Interval


def wilson(count: int, n: int, confidence: float = 0.95) -> Interval:
    """Score interval of `count` in `n`: covers about as often as it says, also for few.

    Raises
    ------
    ValueError
        When `n` is not positive or `count` not within 0 to `n`.
    """
    share = _share(count, n)
    z = float(special.ndtri((1 + confidence) / 2))
    middle = (share + z**2 / (2 * n)) / (1 + z**2 / n)
    half = z / (1 + z**2 / n) * math.sqrt(share * (1 - share) / n + z**2 / (4 * n**2))
    return Interval(share, 0.0 if count == 0 else middle - half, 1.0 if count == n else middle + half)


def _share(count: int, n: int) -> float:
    if n <= 0 or not 0 <= count <= n:
        raise ValueError(f"{count} of {n} is no proportion")
    return count / n
