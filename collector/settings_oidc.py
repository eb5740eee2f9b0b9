"""Settings of signing in at an identity provider by OpenID Connect."""

from __future__ import annotations

from pathlib import Path
from typing import Literal, Self
from urllib.parse import urlsplit

from pydantic import BaseModel, ConfigDict, Field, field_validator, model_validator

__all__ = ["Oidc", "is_safe_address"]

THIS_COMPUTER = ("localhost", "127.0.0.1", "::1")


class Oidc(BaseModel):
    """Which provider says who somebody is, and what it may say; without an issuer there is none."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    issuer: str | None = Field(
        None,
        description="address of an OpenID Connect provider, exactly as it names itself; none: passwords only",
    )
    label: str = Field(
        "the company account", min_length=1, max_length=60,
        description="what the sign-in page calls it: Sign in with ...",
    )  # fmt: skip
    client_id: str = Field("", description="name under which the provider knows the screens")
    client_secret_file: Path | None = Field(
        None, description="file that holds the client secret; none: a client without one, PKCE alone"
    )
    screens_url: str | None = Field(
        None, description="address of the screens as browsers write it, such as https://screens.shop"
    )
    ca_file: Path | None = Field(
        None,
        description="certificate authority that vouches for the provider, PEM; none: the well-known ones",
    )
    scopes: tuple[str, ...] = Field(("openid", "profile"), description="what the provider is asked for")
    name_claim: str = Field("name", description="claim of the ID token that is the name in the journal")
    roles_claim: str = Field("groups", description="claim of the ID token that lists groups")
    roles: dict[str, tuple[Literal["operator", "technician", "quality", "admin"], ...]] = Field(
        default_factory=dict, description="by group: the roles it gives here"
    )
    ask_again: bool = Field(
        default=True,
        description="whether the provider asks for the secret at each sign-in, as it must where many use one "
        "computer",
    )

    @field_validator("issuer", "screens_url")
    @classmethod
    def _safe(cls, value: str | None) -> str | None:
        if value is not None and not is_safe_address(value):
            raise ValueError(
                "an address begins with https:// and has no ? or #; http:// is for this computer only"
            )
        return value

    @field_validator("screens_url")
    @classmethod
    def _no_path(cls, value: str | None) -> str | None:
        if value is not None and urlsplit(value).path not in ("", "/"):
            raise ValueError("the screens lie at the root of an address; leave out what follows its host")
        return value

    @field_validator("scopes")
    @classmethod
    def _with_openid(cls, value: tuple[str, ...]) -> tuple[str, ...]:
        if "openid" not in value:
            raise ValueError("without the scope openid there is no ID token; add it")
        return value

    @model_validator(mode="after")
    def _complete(self) -> Self:
        needed = {"client_id": self.client_id, "screens_url": self.screens_url, "roles": self.roles}
        missing = [name for name, value in needed.items() if not value]
        if self.issuer is not None and missing:
            raise ValueError(f"an issuer alone signs nobody in; give {' and '.join(missing)} too")
        return self


def is_safe_address(address: str) -> bool:
    """Whether nobody on the way can read or change what is asked there: TLS, or this very computer."""
    try:
        parts = urlsplit(address)
        parts.port  # noqa: B018 - raises when it is no number
    except ValueError:
        return False
    if not parts.hostname or parts.username or parts.query or parts.fragment:
        return False
    return parts.scheme == "https" or (parts.scheme == "http" and parts.hostname in THIS_COMPUTER)
