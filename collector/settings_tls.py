"""Settings of an encrypted connection to the broker."""

from __future__ import annotations

from pathlib import Path
from typing import Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

__all__ = ["BrokerTls"]


class BrokerTls(BaseModel):
    """Files that encrypt the connection; without `ca_file` it is not encrypted."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    ca_file: Path | None = Field(
        None, description="certificate authority that vouches for the broker, PEM; given, all is encrypted"
    )
    certificate_file: Path | None = Field(
        None, description="our own certificate, PEM, for a broker that asks for one"
    )
    key_file: Path | None = Field(None, description="its key, PEM, unencrypted and readable by us alone")

    @model_validator(mode="after")
    def _complete(self) -> Self:
        if self.ca_file is None and (self.certificate_file or self.key_file):
            raise ValueError("a certificate is of no use without encryption; give ca_file too")
        if self.key_file is not None and self.certificate_file is None:
            raise ValueError("a key is of no use without its certificate; give certificate_file too")
        return self
