"""How does a result travel as JSON? As a dictionary without NaN or infinity, which JSON does not have.

References
----------
RFC 8259 (2017), The JavaScript Object Notation (JSON) Data Interchange Format, section 6 (numbers).
"""

from __future__ import annotations

import math
from dataclasses import fields, is_dataclass
from typing import Any

import numpy as np

__all__ = ["plain"]


def plain(value: Any) -> Any:
    """Return ``value`` as dictionaries, lists, text, numbers and None.

    Parameters
    ----------
    value : dataclass, mapping, sequence, number, str or None

    Returns
    -------
    dict, list, str, int, float, bool or None
        A number that is not finite (an open side, a ratio to zero) becomes None.
    """
    if is_dataclass(value) and not isinstance(value, type):
        return {field.name: plain(getattr(value, field.name)) for field in fields(value)}
    if isinstance(value, dict):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, (list, tuple, np.ndarray)):
        return [plain(item) for item in value]
    if isinstance(value, np.generic):
        value = value.item()
    return None if isinstance(value, float) and not math.isfinite(value) else value
