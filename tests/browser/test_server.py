"""The screens' server as it is started in the shop, attacked over plain HTTP; no browser is needed."""

from __future__ import annotations

import socket
from collections.abc import Callable
from urllib.parse import urlsplit

import pytest

Serve = Callable[..., str]


def asked(address: str, lines: list[str]) -> str:
    """Send a request as it is written, which no client library would, and give what comes back."""
    parts = urlsplit(address)
    assert parts.hostname is not None
    with socket.create_connection((parts.hostname, parts.port or 80), timeout=20) as connection:
        request = "\r\n".join([lines[0], f"Host: {parts.netloc}", *lines[1:], "", ""])
        connection.sendall(request.encode("latin-1"))
        came = b""
        while b"\r\n\r\n" not in came and (chunk := connection.recv(65_536)):
            came += chunk
        if b" 101 " not in came[:16]:
            while chunk := connection.recv(65_536):
                came += chunk
    return came.decode("latin-1")


def handshake(address: str, origin: str) -> str:
    """The first line that answers a request to open the live connection (RFC 6455, 4.1)."""
    answer = asked(
        address,
        [
            "GET /_stcore/stream HTTP/1.1", "Upgrade: websocket", "Connection: Upgrade",
            "Sec-WebSocket-Version: 13", "Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==", f"Origin: {origin}",
        ],
    )  # fmt: skip
    return answer.partition("\r\n")[0]


def test_another_site_cannot_open_the_live_connection(serve: Serve) -> None:
    address = serve("P1")

    assert " 101 " in handshake(address, address)
    for origin in ("https://elsewhere.example", "null", "http://127.0.0.1.elsewhere.example"):
        assert " 403 " in handshake(address, origin)


@pytest.mark.parametrize(
    "path",
    [
        "/../../../../etc/passwd", "/static/../../../../etc/passwd", "/%2e%2e/%2e%2e/%2e%2e/etc/passwd",
        "/static/%2e%2e/%2e%2e/%2e%2e/%2e%2e/etc/passwd", "//etc/passwd", "/..%5c..%5cetc%5cpasswd",
        "/media/../../etc/passwd", "/component/x/../../../etc/passwd", "/sign-in.css/../../server.py",
        "/app_pages/../server.py", "/evenrun.db", "/static/..%2f..%2fserver.py", "/\x00",
    ],
)  # fmt: skip
def test_no_path_leads_out_of_what_is_served(serve: Serve, path: str) -> None:
    answer = asked(serve("P1"), [f"GET {path} HTTP/1.1", "Connection: close"])

    assert answer.startswith("HTTP/1.1 ")
    assert not any(word in answer for word in ("root:", "import annotations", "SQLite format", "Traceback"))


def test_every_answer_of_the_pages_has_the_headers(serve: Serve) -> None:
    answer = asked(serve("P1"), ["GET / HTTP/1.1", "Connection: close"]).lower()

    for header in (
        "x-frame-options: deny",
        "x-content-type-options: nosniff",
        "content-security-policy: default-src",
    ):
        assert header in answer


@pytest.mark.parametrize(
    "path", ["/_stcore/agent/openapi.json", "/_stcore/metrics", "/_stcore/script-health-check"]
)
def test_nothing_of_the_front_end_s_own_tools_acts_for_nobody(serve: Serve, path: str) -> None:
    answer = asked(serve("P1"), [f"POST {path} HTTP/1.1", "Content-Length: 0", "Connection: close"])

    assert answer.split(" ")[1] in ("403", "404", "405")
