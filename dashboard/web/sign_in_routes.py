"""Addresses where people sign in and out and choose a password: /sign-in, /sign-out, /account, /code."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from collector.actions import people as act
from collector.clock import wall_now
from collector.errors import NotAllowed, StoreUnavailable
from collector.people import codes, secret, sign_in
from dashboard.app import PAGES
from dashboard.queries import database
from dashboard.queries import people as queries
from dashboard.web import cookies
from dashboard.web.forms import Field, Form, is_tls, page, sent

CSS = (Path(__file__).parent / "form.css").read_text(encoding="utf-8")
NAME = Field("name", "Name", autocomplete="username", longest=codes.LONGEST_NAME)
PASSWORD = Field("password", "Password", "password", "current-password", longest=secret.LONGEST)
NEW_PASSWORD = Field(
    "password", "New password", "password", "new-password", longest=secret.LONGEST,
    hint=f"At least {secret.SHORTEST} characters. Four unrelated words make a good one.",
)  # fmt: skip
PIN = Field(
    "pin", "PIN for tablets that many use", "password", "off", longest=secret.PIN_LONGEST, required=False,
    digits=True, hint=f"{secret.PIN_SHORTEST} to {secret.PIN_LONGEST} digits; leave it empty for none.",
)  # fmt: skip
NEW_PASSWORD_OR_NONE = Field(
    "password", "New password", "password", "new-password", longest=secret.LONGEST, required=False,
    hint="Leave it empty to keep the one you have.",
)  # fmt: skip

Fields = dict[str, str]


def routes() -> list[Route]:
    """Routes for the server to mount before the pages."""
    return [
        Route("/sign-in", _guarded(_sign_in), methods=["GET", "POST"]),
        Route("/sign-out", _guarded(_sign_out), methods=["POST"]),
        Route("/account", _guarded(_account), methods=["GET", "POST"]),
        Route("/code", _guarded(_code), methods=["GET", "POST"]),
        Route("/sign-in.css", _css, methods=["GET"]),
    ]


def back(wanted: str | None) -> str:
    """Where to go after signing in: one of our pages and nothing else, whatever the address says."""
    known = {row.module for row in PAGES if row.module != "floor"}
    return f"/{wanted}" if wanted in known else "/"


async def _sign_in(request: Request) -> Response:
    wanted = request.query_params.get("next", "")
    if request.method == "GET":
        return _sign_in_page(request, wanted)
    fields = await sent(request, _key())
    wanted = fields.get("next", "")
    try:
        token = await run_in_threadpool(_check, request, fields)
    except NotAllowed as error:
        return _sign_in_page(request, wanted, refused=_sentence(error), status=403)
    answer = RedirectResponse(back(wanted), status_code=303)
    cookies.put(answer, token, _key(), tls=is_tls(request))
    return answer


def _check(request: Request, fields: Fields) -> str:
    """A new sign-in; the one this browser had before ends, so none can be slipped under somebody."""
    person = sign_in.by_password(
        database.engine(), fields.get("name", ""), fields.get("password", ""), address=_address(request),
        wall=wall_now(), lasts=timedelta(hours=database.settings().people.session_hours),
    )  # fmt: skip
    before = cookies.token_in(request.cookies, _key())
    if before:
        queries.sign_out(before)
    return person.token


def _sign_in_page(request: Request, wanted: str, *, refused: str = "", status: int = 200) -> Response:
    form = Form("/sign-in", "Sign in", (NAME, PASSWORD), first=True)
    links = (("/code", "I have a code and choose a password"), (back(wanted), "Only look"))
    return page(
        request, _key(), title="Sign in", forms=[form], refused=refused, status=status, back_to=wanted,
        links=links,
    )  # fmt: skip


async def _sign_out(request: Request) -> Response:
    await sent(request, _key())
    token = cookies.token_in(request.cookies, _key())
    if token:
        await run_in_threadpool(queries.sign_out, token)
    answer = RedirectResponse("/sign-in", status_code=303)
    cookies.take_back(answer, tls=is_tls(request))
    return answer


async def _account(request: Request) -> Response:
    token = cookies.token_in(request.cookies, _key())
    found = await run_in_threadpool(queries.whose, token)
    if found is None:
        return RedirectResponse("/sign-in", status_code=303)
    who, roles = found[0], ", ".join(found[1].roles)
    if request.method == "GET":
        return _account_page(request, who, roles)
    fields = await sent(request, _key())
    try:
        await run_in_threadpool(
            act.change_own, database.engine(), who=who, current=fields.get("current", ""),
            password=fields.get("password", ""), pin=fields.get("pin", ""), address=_address(request),
            clock=database.clock(),
        )  # fmt: skip
    except NotAllowed as error:
        return _account_page(request, who, roles, refused=_sentence(error), status=403)
    answer = page(
        request, _key(), title="Changed", said="Sign in again, here and wherever else you were signed in.",
        links=(("/sign-in", "Sign in"),),
    )  # fmt: skip
    cookies.take_back(answer, tls=is_tls(request))
    return answer


def _account_page(
    request: Request, who: str, roles: str, *, refused: str = "", status: int = 200
) -> Response:
    current = Field("current", "Current password", "password", "current-password", longest=secret.LONGEST)
    change = Form("/account", "Change", (current, NEW_PASSWORD_OR_NONE, PIN), title="Another password or PIN")
    wanted = request.query_params.get("next", "")
    return page(
        request, _key(), title=who, said=f"Signed in as {who}: {roles}.",
        forms=[Form("/sign-out", "Sign out"), change], refused=refused, status=status,
        links=((back(wanted), "Back"),),
    )  # fmt: skip


async def _code(request: Request) -> Response:
    if request.method == "GET":
        return _code_page(request)
    fields = await sent(request, _key())
    try:
        await run_in_threadpool(
            codes.redeem, database.engine(), fields.get("code", ""), name=fields.get("name", ""),
            password=fields.get("password", ""), pin=fields.get("pin", ""), address=_address(request),
            clock=database.clock(),
        )  # fmt: skip
    except NotAllowed as error:
        return _code_page(request, name=fields.get("name", ""), refused=_sentence(error), status=403)
    return page(
        request, _key(), title="Done", said="The password is yours; nobody else knows it.",
        links=(("/sign-in", "Sign in"),),
    )  # fmt: skip


def _code_page(request: Request, *, name: str = "", refused: str = "", status: int = 200) -> Response:
    hint = "From an admin, or from the terminal that started the screens."
    code = Field("code", "Code", hint=hint, longest=40)
    form = Form(
        "/code", "Choose this password", (replace(NAME, value=name), code, NEW_PASSWORD, PIN), first=True
    )
    return page(
        request, _key(), title="Choose a password", forms=[form], refused=refused, status=status,
        links=(("/sign-in", "Sign in"),),
    )  # fmt: skip


async def _css(_: Request) -> Response:
    return Response(CSS, media_type="text/css")


def _guarded(
    handler: Callable[[Request], Awaitable[Response]],
) -> Callable[[Request], Awaitable[Response]]:
    """What a person cannot do, or the store cannot take now, is a sentence on a page and never a stack."""

    async def answer(request: Request) -> Response:
        if not await run_in_threadpool(queries.are_accounts):
            return RedirectResponse("/", status_code=303)
        try:
            return await handler(request)
        except NotAllowed as error:
            return _refusal(request, error, 403)
        except StoreUnavailable as error:
            return _refusal(request, error, 503)

    return answer


def _refusal(request: Request, error: Exception, status: int) -> Response:
    links = (("/sign-in", "Sign in"),)
    return page(request, _key(), title="Not done", refused=_sentence(error), links=links, status=status)


def _sentence(error: Exception) -> str:
    words = str(error).rstrip(".")
    return f"{words[:1].upper()}{words[1:]}."


def _address(request: Request) -> str:
    return request.client.host if request.client else "unknown"


def _key() -> bytes:
    return queries.signing_key()
