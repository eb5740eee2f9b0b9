"""The cookie of a sign-in: a token and its signature, which scripts of a page cannot read.

The signature (HMAC with SHA-256, RFC 2104) keeps made-up cookies from reaching the store at all; whether a
sign-in holds the store alone says.
"""

from __future__ import annotations

import hmac
from collections.abc import Mapping
from hashlib import sha256

from starlette.responses import Response

PLAIN = "evenrun_sign_in"
# A browser takes a cookie of this name only over TLS and from the host itself (RFC 6265bis).
OVER_TLS = "__Host-evenrun_sign_in"


def token_in(cookies: Mapping[str, str], key: bytes) -> str | None:
    """The token of a request's cookies, None when there is none that we signed."""
    for name in (OVER_TLS, PLAIN):
        token, _, signature = cookies.get(name, "").rpartition(".")
        if token and hmac.compare_digest(signature.encode(), _signature(token, key).encode()):
            return token
    return None


def put(response: Response, token: str, key: bytes, *, tls: bool) -> None:
    """Let the browser keep a sign-in until it is closed; the store may end it earlier."""
    response.set_cookie(
        OVER_TLS if tls else PLAIN, f"{token}.{_signature(token, key)}", httponly=True, samesite="lax",
        secure=tls, path="/",
    )  # fmt: skip
    if tls:
        _forget(response, PLAIN, tls=tls)


def take_back(response: Response, *, tls: bool) -> None:
    """Let the browser forget the sign-in."""
    for name in (OVER_TLS, PLAIN) if tls else (PLAIN,):
        _forget(response, name, tls=tls)


def _forget(response: Response, name: str, *, tls: bool) -> None:
    """Over TLS also one from without: it would be somebody's once the newer one has ended."""
    response.delete_cookie(name, httponly=True, samesite="lax", secure=tls, path="/")


def form_token(browser: str, key: bytes) -> str:
    """What a form of ours carries, so that another site cannot send it for this browser."""
    return derived("form", browser, key)


def derived(purpose: str, text: str, key: bytes) -> str:
    """A secret that belongs to a text and a purpose, which nobody without the key can tell."""
    return _signature(f"{purpose} {text}", key)


def _signature(text: str, key: bytes) -> str:
    return hmac.new(key, text.encode(), sha256).hexdigest()
