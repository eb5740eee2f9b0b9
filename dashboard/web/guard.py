"""Who may read: where the settings say `signed_in`, nobody unknown gets a page or the live connection.

The live connection is asked again while it is open, so it closes within seconds after the sign-in behind it
ended or its account was disabled.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from http.cookies import SimpleCookie
from time import monotonic
from urllib.parse import quote

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

# What shows nothing of the floor: signing in, the front end's own files, and whether the server lives.
OPEN = (
    "/sign-in", "/sign-in.css", "/sign-in/provider", "/sign-in/provider/back", "/code", "/_stcore/health",
)  # fmt: skip
OPEN_FOLDERS = ("/static/",)
ASK_AGAIN_S = 2.0
POLICY_VIOLATION = 1008  # RFC 6455, 7.4.1


class ReadingGuard:
    """Lets a request through if reading is open, or if it carries a sign-in that holds.

    Parameters
    ----------
    app : ASGIApp
    is_open : callable
        Whether anybody may read.
    knows : callable
        Whether these cookies hold a sign-in; may take its time.
    """

    def __init__(
        self, app: ASGIApp, *, is_open: Callable[[], bool], knows: Callable[[Mapping[str, str]], bool]
    ) -> None:
        self.app = app
        self._is_open = is_open
        self._knows = knows

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass on, send to the sign-in, or refuse."""
        kind = scope["type"]
        if kind == "lifespan" or self._is_open() or (kind == "http" and _shows_nothing(scope["path"])):
            await self.app(scope, receive, send)
            return
        cookies = _cookies(scope)
        if await run_in_threadpool(self._knows, cookies):
            await self.app(scope, receive if kind == "http" else self._asking(cookies, receive, send), send)
        elif kind == "websocket":
            await receive()  # the request to open it
            await send({"type": "websocket.close", "code": POLICY_VIOLATION})
        else:
            await _refuse(scope)(scope, receive, send)

    def _asking(self, cookies: Mapping[str, str], receive: Receive, send: Send) -> Receive:
        """What the client sends, until nobody knows it any more."""
        asked_at = monotonic()

        async def next_message() -> Message:
            nonlocal asked_at
            message = await receive()
            if message["type"] != "websocket.receive" or monotonic() - asked_at < ASK_AGAIN_S:
                return message
            asked_at = monotonic()
            if await run_in_threadpool(self._knows, cookies):
                return message
            await send({"type": "websocket.close", "code": POLICY_VIOLATION})
            return {"type": "websocket.disconnect", "code": POLICY_VIOLATION}

        return next_message


def _shows_nothing(path: str) -> bool:
    return path in OPEN or (path.startswith(OPEN_FOLDERS) and ".." not in path)


def _cookies(scope: Scope) -> dict[str, str]:
    jar = SimpleCookie(Headers(scope=scope).get("cookie", ""))
    return {name: morsel.value for name, morsel in jar.items()}


def _refuse(scope: Scope) -> Response:
    wants_page = "text/html" in Headers(scope=scope).get("accept", "")
    if scope["method"] == "GET" and wants_page:
        return RedirectResponse(f"/sign-in?next={quote(scope['path'].strip('/'))}", status_code=303)
    return PlainTextResponse("Sign in first.", status_code=401)
