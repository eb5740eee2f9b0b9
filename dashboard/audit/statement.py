"""One sentence of a conclusion and how far it can be trusted."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Certainty = Literal["recorded", "clear", "likely", "weak"]
Mark = Literal["", "signal", "act"]


@dataclass(frozen=True, slots=True)
class Statement:
    """`mark` picks the shape in front: yellow diamond (signal), blue square (a person must act), or none."""

    text: str
    certainty: Certainty
    mark: Mark = ""
