"""A small OpenID Connect provider of our own: discovery, keys, codes for ID tokens, and every way to lie.

It checks what a provider has to (client secret, redirect address, PKCE, one use of a code), so a client that
leaves one of them out does not get through.
"""

from __future__ import annotations

import base64
import json
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from hashlib import sha256
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from threading import Thread
from typing import Any
from urllib.parse import parse_qs, parse_qsl, urlencode, urlsplit

from joserfc import jwt
from joserfc.jwk import RSAKey

CLIENT, SECRET = "screens", "a client secret with 256 bits"
KEY = RSAKey.generate_key(2048, {"kid": "key 1", "use": "sig", "alg": "RS256"})


@dataclass
class Provider:
    """One provider; change its fields to make it lie."""

    redirect: str
    issuer: str = ""
    subject: str = "248289761001"
    name: str = "Ash Larch"
    groups: Any = field(default_factory=lambda: ["press crew"])
    claims: dict[str, Any] = field(default_factory=dict)  # instead of true ones; None: left out
    discovery: dict[str, Any] = field(default_factory=dict)
    keys: list[dict[str, Any]] = field(default_factory=lambda: [KEY.as_dict(private=False)])
    sign: Callable[[dict[str, Any]], str] = lambda claims: jwt.encode(
        {"alg": "RS256", "kid": "key 1"}, claims, KEY
    )
    broken: dict[str, tuple[int, bytes]] = field(default_factory=dict)  # by path: what it answers instead
    asked: list[str] = field(default_factory=list)
    codes: dict[str, dict[str, str]] = field(default_factory=dict)

    def signs_in(self, location: str) -> str:
        """Somebody signs in where the screens sent the browser; the address it is sent back to."""
        wanted = dict(parse_qsl(urlsplit(location).query))
        assert location.startswith(f"{self.issuer}/authorize?")
        assert (wanted["client_id"], wanted["redirect_uri"]) == (CLIENT, self.redirect)
        assert (wanted["response_type"], wanted["code_challenge_method"]) == ("code", "S256")
        code = f"code {len(self.codes)}"
        self.codes[code] = wanted
        return f"{urlsplit(self.redirect).path}?{urlencode({'code': code, 'state': wanted['state']})}"

    def answer(self, path: str, authorization: str, body: bytes) -> tuple[int, bytes]:
        """What is said to a request."""
        self.asked.append(path)
        if path in self.broken:
            return self.broken[path]
        if path == "/.well-known/openid-configuration":
            return 200, json.dumps(self._discovery()).encode()
        if path == "/keys":
            return 200, json.dumps({"keys": self.keys}).encode()
        return self._token(
            authorization, {name: values[0] for name, values in parse_qs(body.decode()).items()}
        )

    def _discovery(self) -> dict[str, Any]:
        return {
            "issuer": self.issuer, "authorization_endpoint": f"{self.issuer}/authorize",
            "token_endpoint": f"{self.issuer}/token", "jwks_uri": f"{self.issuer}/keys", **self.discovery,
        }  # fmt: skip

    def _token(self, authorization: str, sent: dict[str, str]) -> tuple[int, bytes]:
        basic = "Basic " + base64.b64encode(f"{CLIENT}:{SECRET}".encode()).decode()
        in_body = (sent.get("client_id"), sent.get("client_secret")) == (CLIENT, SECRET)
        if authorization != basic and not in_body:
            return 401, b'{"error": "invalid_client", "error_description": "no such secret"}'
        wanted = self.codes.pop(sent.get("code", ""), None)
        challenge = base64.urlsafe_b64encode(sha256(sent.get("code_verifier", "").encode()).digest())
        if (
            wanted is None
            or sent["redirect_uri"] != wanted["redirect_uri"]
            or challenge.rstrip(b"=").decode() != wanted["code_challenge"]
        ):
            return 400, b'{"error": "invalid_grant"}'
        token = self.sign(self._claims(wanted["nonce"]))
        return 200, json.dumps({"access_token": "a", "token_type": "Bearer", "id_token": token}).encode()

    def _claims(self, nonce: str) -> dict[str, Any]:
        now = int(time.time())
        true = {
            "iss": self.issuer, "aud": CLIENT, "sub": self.subject, "iat": now, "exp": now + 300,
            "auth_time": now, "nonce": nonce, "name": self.name, "groups": self.groups,
        }  # fmt: skip
        return {name: value for name, value in (true | self.claims).items() if value is not None}


@contextmanager
def running(redirect: str) -> Iterator[Provider]:
    """A provider that listens on this computer."""
    provider = Provider(redirect)

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            body = self.rfile.read(int(self.headers.get("content-length", 0)))
            status, said = provider.answer(self.path, self.headers.get("authorization", ""), body)
            self.send_response(status)
            self.send_header("content-type", "application/json")
            self.send_header("content-length", str(len(said)))
            if status == 302:
                self.send_header("location", said.decode())
            self.end_headers()
            self.wfile.write(said)

        do_POST = do_GET  # noqa: N815

        def log_message(self, *_: object) -> None:
            """Say nothing."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    server.daemon_threads = True
    provider.issuer = f"http://127.0.0.1:{server.server_port}"
    thread = Thread(target=server.serve_forever, args=(0.05,))
    thread.start()
    try:
        yield provider
    finally:
        server.shutdown()
        thread.join()
        server.server_close()
