"""One sign-in at the identity provider, from the browser that began it back to the same browser.

The browser holds a signed random number; state, nonce and the PKCE verifier are derived from it with our key,
so nothing is stored for somebody who only begins, and the verifier never leaves the server.
"""

from __future__ import annotations

import hmac
import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from starlette.responses import Response

from dashboard.web.cookies import derived

PLAIN = "evenrun_provider"
OVER_TLS = "__Host-evenrun_provider"
LASTS = timedelta(minutes=10)


@dataclass(frozen=True, slots=True)
class Flow:
    """What belongs to one sign-in at the provider.

    Attributes
    ----------
    number : str
        Random; what the browser holds.
    until : datetime
        When it is too late to come back, wall time.
    wanted : str
        The page to go to afterwards, without a slash; empty for the floor.
    state, nonce, verifier : str
        64 hexadecimal digits each (RFC 6749, 10.12; OpenID Connect Core 1.0, 3.1.2.1; RFC 7636, 4.1).
    """

    number: str
    until: datetime
    wanted: str
    state: str
    nonce: str
    verifier: str

    @property
    def begun_at(self) -> datetime:
        """When the browser was sent to the provider."""
        return self.until - LASTS


def begin(wanted: str, key: bytes, *, wall: datetime) -> Flow:
    """A new one, for a page that was checked to be ours."""
    return _flow(secrets.token_urlsafe(24), wall.replace(microsecond=0) + LASTS, wanted, key)


def put(response: Response, flow: Flow, key: bytes, *, tls: bool) -> None:
    """Let the browser keep it on its way to the provider and back."""
    text = f"{flow.number}.{int(flow.until.timestamp())}.{flow.wanted}"
    # Lax, not strict: the browser must send it when the provider sends it back.
    response.set_cookie(
        OVER_TLS if tls else PLAIN, f"{text}.{derived('provider cookie', text, key)}", httponly=True,
        samesite="lax", secure=tls, path="/", max_age=int(LASTS.total_seconds()),
    )  # fmt: skip


def take_back(response: Response, *, tls: bool) -> None:
    """Let the browser forget it."""
    name = OVER_TLS if tls else PLAIN
    response.delete_cookie(name, httponly=True, samesite="lax", secure=tls, path="/")


def returned(cookies: Mapping[str, str], state: str, key: bytes, *, tls: bool, wall: datetime) -> Flow | None:
    """The one that this browser began and this state belongs to; None when there is none or it is over."""
    text, _, signature = cookies.get(OVER_TLS if tls else PLAIN, "").rpartition(".")
    if not text or not _same(signature, derived("provider cookie", text, key)):
        return None
    number, until, wanted = text.split(".")  # as we signed it
    flow = _flow(number, datetime.fromtimestamp(int(until), UTC), wanted, key)
    return flow if _same(state, flow.state) and wall < flow.until else None


def _flow(number: str, until: datetime, wanted: str, key: bytes) -> Flow:
    state, nonce, verifier = (
        derived(f"provider {what}", number, key) for what in ("state", "nonce", "verifier")
    )
    return Flow(number, until, wanted, state, nonce, verifier)


def _same(given: str, ours: str) -> bool:
    return hmac.compare_digest(given.encode(), ours.encode())
