"""Settings of the collector's own process: what it serves, and when its disk counts as full."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict, Field


class Collector(BaseModel):
    """The collector as a process."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    http_port: int | None = Field(
        None, ge=1, le=65535, description="port on which the collector serves /health and /metrics; none: off"
    )
    http_host: str = Field("127.0.0.1", description="address it serves them on")
    least_free_mb: int = Field(
        500, ge=1, description="the self-check fails when the store's disk has less room than this, MB"
    )
