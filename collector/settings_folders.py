"""Settings of a watched folder, into which presses or gateways put their CSV exports."""

from __future__ import annotations

from pathlib import Path

from pydantic import BaseModel, ConfigDict, Field, field_validator


class WatchedFolder(BaseModel):
    """One folder: where it is, which of its files are meant, and how they are read."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    path: Path = Field(description="the folder, beside the settings file where it is relative")
    profile: str = Field(description="profile of its files: a TOML file, or the name of one that comes along")
    pattern: str = Field("*.csv", description="names of the files that are taken, such as P3_*.csv")
    press: str | None = Field(None, description="press of its files, where the profile names none")
    run: str | None = Field(None, description="run of its files, where the profile names none")
    settle_s: float = Field(
        5.0, gt=0, description="a file is complete when it has not changed for so long, s"
    )

    @field_validator("pattern")
    @classmethod
    def _plain_name(cls, value: str) -> str:
        if not value or "/" in value or "\\" in value or value.startswith(".."):
            raise ValueError(
                f"the pattern is {value!r}, and may only name files of the folder; write one such as *.csv"
            )
        return value
