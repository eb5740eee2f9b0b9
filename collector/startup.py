"""When a press counts as steady after a start or a stop. Pure.

The first shots after a start are stored and shown, never charted: melt, cushion and mold still move
(common practice, no source: 5 to 10 shots after a short stop, 10 to 30 from cold, or until several in a
row lie inside running limits). So a fixed count is skipped first. Then the press must look steady: inside
its limits where it has some, otherwise without a trend. A press that never does is charted all the same
after `patience` times the count, since an unsteady press is what the charts are for.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from collector.contract import quantities

WINDOW = 8
PATIENCE = 4
# A straight line through eight shots whose rise exceeds this many moving-range sigmas is a trend; on a
# steady normal process that happens in about 1 window of 100 (the slope's standard error makes the rise
# 7 * sigma / sqrt(42) = 1.08 sigma).
TREND_SIGMAS = 2.8
SLOW_RISE = 0.8  # canonical unit, degC; common practice, no source


def may_chart(
    done: int, required: int, recent: Mapping[str, Sequence[float]], shares: Sequence[float] | None
) -> bool:
    """Whether the next shot may be charted.

    Parameters
    ----------
    done, required : int
        Startup shots seen and the count that is always skipped.
    recent : mapping of str to sequence of float
        The last values of each charted characteristic, oldest first.
    shares : sequence of float or None
        Largest share of the limit of each recent shot where limits exist, else None.
    """
    if done < required:
        return False
    if required == 0 or done >= PATIENCE * required:
        return True
    if shares is not None:
        inside = list(shares)[-WINDOW // 2 :]
        return len(inside) >= WINDOW // 2 and max(inside) <= 1.0
    return not any(has_trend(values, slow=quantities.is_slow(key)) for key, values in recent.items())


def has_trend(values: Sequence[float], *, slow: bool) -> bool:
    """Whether the last `WINDOW` values rise or fall.

    A slow quantity, a temperature, follows its last value so closely that shot-to-shot noise says nothing
    about it; it counts as steady when it moves less than `SLOW_RISE` over the window.
    """
    if len(values) < WINDOW:
        return False
    window = np.asarray(values[-WINDOW:], dtype=float)
    if np.isnan(window).any():
        return False
    index = np.arange(WINDOW) - (WINDOW - 1) / 2
    rise = abs(float(index @ window) / float(index @ index) * (WINDOW - 1))
    if slow:
        return rise > SLOW_RISE
    sigma = float(np.abs(np.diff(window)).mean()) / (2.0 / np.sqrt(np.pi))
    return rise > TREND_SIGMAS * sigma and rise > 0.0
