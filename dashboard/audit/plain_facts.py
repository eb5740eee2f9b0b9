"""Facts as JSON, always written the same way: what the digest of the evidence is taken over. Pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import fields, is_dataclass
from datetime import datetime
from typing import Any

import numpy as np
import pandas as pd

from dashboard.audit.shot_list import ShotList


def plain(value: Any) -> Any:  # noqa: PLR0911 - one return a kind of value
    """A fact as JSON: times as UTC text, sets sorted, what is not finite null; tables of values left out."""
    match value:
        case ShotList() | pd.DataFrame():
            return None
        case None | bool() | int() | str():
            return value
        case float():
            return value if np.isfinite(value) else None
        case np.generic():
            return plain(value.item())
        case datetime():
            return value.isoformat().replace("+00:00", "Z")
        case Mapping():
            return {str(name): plain(item) for name, item in value.items()}
        case set() | frozenset():
            return sorted(value)
        case Sequence():
            return [plain(item) for item in value]
    if is_dataclass(value):
        named = {field.name: plain(getattr(value, field.name)) for field in fields(value)}
        return {name: item for name, item in named.items() if name not in ("shot_list", "values")}
    raise TypeError(f"{type(value).__name__} is no fact that an audit can write down")
