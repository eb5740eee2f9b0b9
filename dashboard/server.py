"""The screens as a web server: the pages, and beside them signing in, health and metrics.

`evenrun dashboard` has Streamlit serve `app` from here.
"""

from __future__ import annotations

import sys
from collections.abc import AsyncGenerator, Mapping
from contextlib import asynccontextmanager
from pathlib import Path

import streamlit as st
from starlette.concurrency import run_in_threadpool
from starlette.middleware import Middleware

from collector.clock import wall_now
from collector.errors import StoreError
from collector.people import codes
from dashboard import routes
from dashboard.queries import database
from dashboard.queries import people as queries
from dashboard.web import cookies, sign_in_routes
from dashboard.web.guard import ReadingGuard
from dashboard.web.headers import SecurityHeaders

PAGES = Path(__file__).parent / "app.py"
WELCOME = """\
Nobody has an account yet. The first admin opens /code on the screens and enters this code:

    {code}

It works once; the next start shows another one. A demo or a shop of one person needs no accounts:
set people.sign_in = "names".
"""


@asynccontextmanager
async def started(_: st.App) -> AsyncGenerator[None]:
    """Show the first admin's code on the terminal, and nowhere else, before anybody is served."""
    await run_in_threadpool(welcome)
    yield


def welcome() -> None:
    """Where accounts are wanted and there is none: make a code and print it."""
    if database.settings().people.sign_in != "accounts":
        return
    try:
        code = codes.first_admin_code(database.engine(), wall=wall_now())
    except StoreError as error:
        sys.stderr.write(f"evenrun dashboard: no code for the first admin, start again later: {error}\n")
        return
    if code is not None:
        sys.stdout.write(WELCOME.format(code=code))
        sys.stdout.flush()


def is_open() -> bool:
    """Whether anybody may read."""
    return database.settings().people.reading == "open"


def knows(sent: Mapping[str, str]) -> bool:
    """Whether these cookies hold a sign-in; nobody is known while the store cannot be asked."""
    try:
        return queries.whose(cookies.token_in(sent, queries.signing_key())) is not None
    except StoreError:
        return False


MIDDLEWARE = (Middleware(SecurityHeaders), Middleware(ReadingGuard, is_open=is_open, knows=knows))

app = st.App(
    PAGES, routes=[*sign_in_routes.routes(), *routes.routes()], middleware=MIDDLEWARE, lifespan=started
)
