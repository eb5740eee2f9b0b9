"""Headers that tell the browser what the screens never do.

The pages' own policy must let inline scripts and evaluated code through, because Streamlit's front end and
its charts need both; nothing may be loaded from, sent to or shown inside another site. The forms for signing
in need none of that and get a stricter one.
"""

from __future__ import annotations

from starlette.datastructures import MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

PAGES_POLICY = (
    "default-src 'self'; script-src 'self' 'unsafe-inline' 'unsafe-eval' blob:; "
    "style-src 'self' 'unsafe-inline'; img-src 'self' data: blob:; font-src 'self' data:; "
    "connect-src 'self' data:; worker-src 'self' blob:; object-src 'none'; base-uri 'self'; "
    "form-action 'self'; frame-ancestors 'none'"
)
FORMS_POLICY = (
    "default-src 'none'; style-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
POLICY = "content-security-policy"
ALWAYS = {
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=(), payment=()",
    "cross-origin-opener-policy": "same-origin",
}
HSTS = "max-age=31536000"  # a year, as OWASP ASVS 4.0.3, 14.4.5 asks (from memory)


class SecurityHeaders:
    """Adds them to every answer."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, and add to what comes back."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return

        async def add(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in ALWAYS.items():
                    headers[name] = value
                headers.setdefault(POLICY, PAGES_POLICY)
                if scope["scheme"] == "https":
                    headers["strict-transport-security"] = HSTS
            await send(message)

        await self.app(scope, receive, add)
