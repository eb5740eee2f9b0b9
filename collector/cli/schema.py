"""`evenrun schema`: what a gateway may send, as JSON Schema or as an AsyncAPI document."""

from __future__ import annotations

import json
from typing import Annotated

import typer

from collector.contract.schema import asyncapi, json_schemas
from collector.errors import UserError


def schema(
    kind: Annotated[
        str | None,
        typer.Argument(help="One message kind, such as shot or gauging; without it the whole document."),
    ] = None,
) -> None:
    """Print what messages look like, for whoever writes a gateway.

    With a message kind its JSON Schema (draft 2020-12), otherwise one AsyncAPI 3 document of all topics and
    messages. Both are made from the models that the collector reads with.
    """
    known = json_schemas()
    if kind is not None and kind not in known:
        raise UserError(f"there is no message kind {kind!r}; the kinds are {', '.join(known)}")
    typer.echo(json.dumps(asyncapi() if kind is None else known[kind], indent=2, ensure_ascii=False))
