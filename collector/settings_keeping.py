"""Settings of what is kept how long and where: backups, values of old runs, deliveries, attempts."""

from __future__ import annotations

from pathlib import Path

from pydantic import BaseModel, ConfigDict, Field


class Backup(BaseModel):
    """Where backups of the store go, how often, and how many stay."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    folder: Path | None = Field(
        None, description="where `evenrun backup` and the daily backup write; best on another disk"
    )
    every_h: float = Field(24.0, gt=0, description="time between two backups that the collector makes, h")
    keep: int = Field(14, ge=1, description="newest backups that stay; older ones are removed")


class Retention(BaseModel):
    """When the values of a run's shots move from the store to a Parquet file, and what is deleted."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    values_days: float | None = Field(
        None, ge=7, description="age of a closed run, in days, from which its values move; none: never"
    )
    folder: Path = Field(
        Path("evenrun-data/archive"), description="where the Parquet files go, one a run; none is removed"
    )
    delivered_days: float = Field(
        90.0, ge=1, description="age from which delivered messages to machines are deleted, in days"
    )
    attempts_days: float = Field(
        90.0, ge=1,
        description="age from which attempts to sign in, and sign-ins that are over, are deleted, in days",
    )
