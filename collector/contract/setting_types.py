"""Values that settings, mappings and profiles have in common, and what is wrong with one that cannot be."""

from __future__ import annotations

from math import isfinite
from typing import Annotated
from zoneinfo import ZoneInfo

from pydantic import AfterValidator


def _known(zone: str) -> str:
    try:
        ZoneInfo(zone)
    except (KeyError, ValueError, OSError) as error:
        raise ValueError(f"no time zone is called {zone!r}; use a name such as Europe/Berlin") from error
    return zone


def _usable(factor: float) -> float:
    if factor == 0 or not isfinite(factor):
        raise ValueError(f"the factor is {factor:g}; give a number other than 0, or leave it out for 1")
    return factor


ZoneName = Annotated[str, AfterValidator(_known)]
Factor = Annotated[float, AfterValidator(_usable)]
