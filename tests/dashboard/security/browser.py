"""A browser that keeps cookies and speaks ASGI: enough of one to attack the server's own addresses."""

from __future__ import annotations

import asyncio
import re
from collections.abc import Coroutine, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from http.cookies import SimpleCookie
from typing import Any, TypeVar
from urllib.parse import urlencode, urlsplit

from starlette.types import ASGIApp, Message

HOST = "screens.shop"
HIDDEN = re.compile(r'name="form" value="([^"]+)"')

T = TypeVar("T")


def _outcome(coroutine: Coroutine[Any, Any, T]) -> T:
    """What comes of it, in a thread of its own: a test of the screens may have a loop running in this one."""
    with ThreadPoolExecutor(1) as pool:
        return pool.submit(asyncio.run, coroutine).result()


@dataclass
class Answer:
    """What came back."""

    status: int
    headers: dict[str, str]
    set_cookies: list[str]
    text: str


@dataclass
class Browser:
    """One person's browser."""

    app: ASGIApp
    address: str = "10.0.0.7"
    scheme: str = "http"
    cookies: dict[str, str] = field(default_factory=dict)

    def get(self, path: str, **headers: str) -> Answer:
        """Open an address."""
        return self._ask("GET", path, b"", headers)

    def post(self, path: str, fields: Mapping[str, str], **headers: str) -> Answer:
        """Send fields as a form of this site would, unless the headers say otherwise."""
        ours = {"origin": f"{self.scheme}://{HOST}", "content-type": "application/x-www-form-urlencoded"}
        return self._ask("POST", path, urlencode(fields).encode(), ours | headers)

    def send(self, path: str, **fields: str) -> Answer:
        """Open a form of ours, fill it in and send it."""
        token = HIDDEN.search(self.get(path.replace("/sign-out", "/account")).text)
        return self.post(path.partition("?")[0], fields | {"form": token.group(1) if token else ""})

    def websocket(self, sent: list[bytes], *, between_s: float = 0.0) -> list[Message]:
        """Open the live connection, send messages, and give what the server did."""
        return _outcome(self._websocket(sent, between_s))

    def _ask(self, method: str, path: str, body: bytes, headers: Mapping[str, str]) -> Answer:
        answer = _outcome(self._http(method, path, body, headers))
        for line in answer.set_cookies:
            for name, morsel in SimpleCookie(line).items():
                self.cookies[name] = morsel.value
                if morsel["max-age"] == "0":
                    del self.cookies[name]
        return answer

    def _scope(self, kind: str, path: str, headers: Mapping[str, str]) -> dict[str, Any]:
        parts = urlsplit(path)
        jar = "; ".join(f"{name}={value}" for name, value in self.cookies.items())
        every = {"host": HOST, "cookie": jar, **headers}
        return {
            "type": kind, "scheme": self.scheme, "path": parts.path, "raw_path": parts.path.encode(),
            "query_string": parts.query.encode(), "root_path": "", "http_version": "1.1",
            "headers": [(name.encode(), value.encode()) for name, value in every.items() if value],
            "client": (self.address, 40000), "server": (HOST, 80), "subprotocols": [], "state": {},
        }  # fmt: skip

    async def _http(self, method: str, path: str, body: bytes, headers: Mapping[str, str]) -> Answer:
        came: list[Message] = []
        waiting: list[Message] = [{"type": "http.request", "body": body, "more_body": False}]

        async def receive() -> Message:
            return waiting.pop() if waiting else {"type": "http.disconnect"}

        async def send(message: Message) -> None:
            came.append(message)

        try:
            await self.app({**self._scope("http", path, headers), "method": method}, receive, send)
        except Exception:  # as a server would: an answer that is out counts
            if not came:
                raise
        found = [(name.decode().lower(), value.decode()) for name, value in came[0]["headers"]]
        text = b"".join(each.get("body", b"") for each in came[1:]).decode(errors="replace")
        cookies = [value for name, value in found if name == "set-cookie"]
        return Answer(came[0]["status"], dict(found), cookies, text)

    async def _websocket(self, sent: list[bytes], between_s: float) -> list[Message]:
        came: list[Message] = []
        waiting: list[Message] = [{"type": "websocket.connect"}]
        waiting += [{"type": "websocket.receive", "bytes": each} for each in sent]

        async def receive() -> Message:
            await asyncio.sleep(between_s)
            return waiting.pop(0) if waiting else {"type": "websocket.disconnect", "code": 1001}

        async def send(message: Message) -> None:
            came.append(message)

        await self.app(self._scope("websocket", "/_stcore/stream", {}), receive, send)
        return came
