"""A floor with accounts, served as in the shop but without the pages behind it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import argon2
import pytest
import sqlalchemy as sa
import streamlit as st
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route, WebSocketRoute
from starlette.websockets import WebSocket, WebSocketDisconnect

from collector.actions import people as act
from collector.clock import real_clock, wall_now
from collector.people import codes, secret, sign_in
from collector.people.person import Person
from collector.store import database
from dashboard import server
from dashboard.web import sign_in_routes
from tests.dashboard.security.browser import Browser

GOOD = "maple rivet cloud tin"


@dataclass
class Site:
    """The server, its store, and an admin who looks after accounts."""

    app: Starlette
    engine: sa.Engine
    terminal: Callable[[], Person]

    def browser(self, *, address: str = "10.0.0.7", scheme: str = "http") -> Browser:
        """A browser that knows nothing yet."""
        return Browser(self.app, address, scheme)

    def signed_in(
        self, name: str = "operator 1", *, address: str = "10.0.0.7", scheme: str = "http"
    ) -> Browser:
        """A browser in which somebody signed in."""
        browser = self.browser(address=address, scheme=scheme)
        assert browser.send("/sign-in", name=name, password=GOOD).status == 303
        return browser

    def disable(self, name: str) -> None:
        """Dismiss somebody."""
        act.disable(self.engine, name, who=self.terminal(), clock=real_clock())


async def _page(_: Request) -> Response:
    return PlainTextResponse("the floor")


async def _live(socket: WebSocket) -> None:
    await socket.accept()
    try:
        while True:
            await socket.send_bytes(await socket.receive_bytes())
    except WebSocketDisconnect:
        return


@pytest.fixture
def site(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Site]:
    """A floor with an admin and an operator."""
    quick = argon2.PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
    monkeypatch.setattr(secret, "_hasher", quick)
    secret._nobodys.cache_clear()
    monkeypatch.setenv("EVENRUN_DATABASE_URL", f"sqlite:///{tmp_path / 'evenrun.db'}")
    monkeypatch.delenv("EVENRUN_PEOPLE__SIGN_IN", raising=False)
    monkeypatch.chdir(tmp_path)
    st.cache_resource.clear()
    pages = [Route("/{path:path}", _page), WebSocketRoute("/_stcore/stream", _live)]
    app = Starlette(routes=[*sign_in_routes.routes(), *pages], middleware=list(server.MIDDLEWARE))
    engine = database.open_engine(f"sqlite:///{tmp_path / 'evenrun.db'}")
    database.upgrade(engine)

    def terminal() -> Person:
        with database.write(engine) as conn:
            return sign_in.at_terminal(conn, wall=wall_now())

    for name, role in (("admin 1", "admin"), ("operator 1", "operator")):
        code = act.add(engine, name, [role], who=terminal(), clock=real_clock())
        codes.redeem(
            engine, code, name=name, password=GOOD, pin="4907", address="terminal", clock=real_clock()
        )
    yield Site(app, engine, terminal)
    st.cache_resource.clear()
    engine.dispose()
