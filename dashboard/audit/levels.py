"""Mean and standard deviation of what is there. Pure."""

from __future__ import annotations

from typing import Any

import numpy as np

from dashboard.audit.facts import Level


def level_of(key: str, values: Any) -> Level | None:
    """Level and spread of values that may be missing; None for fewer than two."""
    x = np.asarray(values, dtype=np.float64)
    x = x[~np.isnan(x)]
    if len(x) < 2:
        return None
    return Level(key=key, n=len(x), mean=float(x.mean()), sd=float(x.std(ddof=1)))
