"""Settings of several collectors on one store."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict, Field

__all__ = ["Leases"]


class Leases(BaseModel):
    """How the presses are split among collectors; the same for all of them."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    parts: int = Field(
        1, ge=1, le=64, description="parts the presses are split into; a part has one collector at a time"
    )
    lasts_s: float = Field(
        3.0, ge=1, le=60, description="a collector that is silent for so long loses its parts to another, s"
    )
