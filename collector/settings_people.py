"""Settings of who may act and who may read, and of the journal that says who did."""

from __future__ import annotations

from pathlib import Path
from typing import Any, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

from collector.settings_oidc import Oidc


class People(BaseModel):
    """How the screens know who acts."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    sign_in: Literal["accounts", "names"] = Field(
        "accounts",
        description="accounts: password or PIN; names: choose a name, for a demo or a shop of one person",
    )
    reading: Literal["open", "signed_in"] = Field(
        "open", description="open: whoever reaches the screens may read them; signed_in: nobody unknown does"
    )
    session_hours: float = Field(12.0, gt=0, le=168, description="how long a sign-in at a browser lasts, h")
    pin_minutes: float = Field(5.0, gt=0, le=60, description="how long name and PIN at a tablet last, min")
    names: tuple[str, ...] = Field(
        ("operator 1", "operator 2", "technician 1", "technician 2", "quality 1"),
        description="who may be named as having acknowledged or released, where there are no accounts",
    )
    oidc: Oidc = Oidc()

    @model_validator(mode="after")
    def _provider_with_accounts(self) -> Self:
        if self.oidc.issuer is not None and self.sign_in != "accounts":
            raise ValueError('a provider signs accounts in; set sign_in = "accounts" or take oidc.issuer out')
        return self

    @model_validator(mode="before")
    @classmethod
    def _plain_list(cls, value: Any) -> Any:
        """A list alone is the names, as it was written before there were accounts."""
        return {"names": value} if isinstance(value, list | tuple) else value


class Journal(BaseModel):
    """Where the head of the journal is exported to."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    heads_file: Path | None = Field(
        None,
        description="one line a day with the journal's head, to be copied to another computer; none: "
        "journal-heads.jsonl beside an SQLite store, evenrun-data/DATABASE-journal-heads.jsonl otherwise",
    )
