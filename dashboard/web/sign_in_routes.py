"""Addresses where people sign in and out and choose a password: /sign-in, /sign-out, /account, /code."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from collector.actions import own_account
from collector.clock import wall_now
from collector.errors import NotAllowed
from collector.people import codes, secret, sign_in
from collector.people.person import Person
from dashboard.queries import database
from dashboard.queries import people as queries
from dashboard.web import cookies, provider_routes
from dashboard.web.answers import address, back, guarded, sentence
from dashboard.web.forms import Field, Form, is_tls, page, sent

CSS = (Path(__file__).parent / "form.css").read_text(encoding="utf-8")
NAME = Field("name", "Name", autocomplete="username", longest=codes.LONGEST_NAME)
PASSWORD = Field("password", "Password", "password", "current-password", longest=secret.LONGEST)
NEW_PASSWORD = Field(
    "password", "New password", "password", "new-password", longest=secret.LONGEST,
    hint=f"At least {secret.SHORTEST} characters. Four unrelated words make a good one.",
)  # fmt: skip
DIGITS = f"{secret.PIN_SHORTEST} to {secret.PIN_LONGEST} digits"
PIN = Field(
    "pin", "PIN for tablets that many use", "password", "off", longest=secret.PIN_LONGEST, required=False,
    digits=True, hint=f"{DIGITS}; leave it empty for none.",
)  # fmt: skip
ONLY_FRESH = f"{DIGITS}; within five minutes after the identity provider signed you in."
NEW_PASSWORD_OR_NONE = Field(
    "password", "New password", "password", "new-password", longest=secret.LONGEST, required=False,
    hint="Leave it empty to keep the one you have.",
)  # fmt: skip

NEW_PIN = replace(PIN, hint=f"{DIGITS}; leave it empty to keep what you have.")
CURRENT = Field("current", "Current password", "password", "current-password", longest=secret.LONGEST)
PASSWORD_OR_PIN = Form(
    "/account", "Change", (CURRENT, NEW_PASSWORD_OR_NONE, NEW_PIN), title="Another password or PIN"
)
PIN_ALONE = Form(
    "/account", "Choose this PIN", (replace(PIN, hint=ONLY_FRESH, required=True),), title="A PIN of your own"
)

Fields = dict[str, str]


def routes() -> list[Route]:
    """Routes for the server to mount before the pages."""
    return [
        Route("/sign-in", guarded(_sign_in), methods=["GET", "POST"]),
        Route("/sign-out", guarded(_sign_out), methods=["POST"]),
        Route("/account", guarded(_account), methods=["GET", "POST"]),
        Route("/code", guarded(_code), methods=["GET", "POST"]),
        Route("/sign-in.css", _css, methods=["GET"]),
        *provider_routes.routes(),
    ]


async def _sign_in(request: Request) -> Response:
    wanted = request.query_params.get("next", "")
    if request.method == "GET":
        return _sign_in_page(request, wanted)
    fields = await sent(request, _key())
    wanted = fields.get("next", "")
    try:
        token = await run_in_threadpool(_check, request, fields)
    except NotAllowed as error:
        return _sign_in_page(request, wanted, refused=sentence(error), status=403)
    answer = RedirectResponse(back(wanted), status_code=303)
    cookies.put(answer, token, _key(), tls=is_tls(request))
    return answer


def _check(request: Request, fields: Fields) -> str:
    """A new sign-in; the one this browser had before ends, so none can be slipped under somebody."""
    person = sign_in.by_password(
        database.engine(), fields.get("name", ""), fields.get("password", ""), address=address(request),
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
        links=links, instead=_instead(wanted),
    )  # fmt: skip


def _instead(wanted: str) -> tuple[str, str] | None:
    """The way to the identity provider, where there is one: a link, since no form of ours leads elsewhere."""
    settings = database.settings().people.oidc
    if settings.issuer is None:
        return None
    way = f"{provider_routes.BEGIN}?next={back(wanted).strip('/')}"
    return way, f"Sign in with {settings.label}"


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
    known = await run_in_threadpool(queries.has_password, who)
    if request.method == "GET":
        return _account_page(request, who, roles, known=known)
    fields = await sent(request, _key())
    try:
        await run_in_threadpool(_change if known else _choose_pin, request, who, fields)
    except NotAllowed as error:
        return _account_page(request, who, roles, known=known, refused=sentence(error), status=403)
    answer = page(
        request, _key(), title="Changed", said="Sign in again, here and wherever else you were signed in.",
        links=(("/sign-in", "Sign in"),),
    )  # fmt: skip
    cookies.take_back(answer, tls=is_tls(request))
    return answer


def _change(request: Request, who: Person, fields: Fields) -> None:
    own_account.change(
        database.engine(), who=who, current=fields.get("current", ""), password=fields.get("password", ""),
        pin=fields.get("pin", ""), address=address(request), clock=database.clock(),
    )  # fmt: skip


def _choose_pin(_: Request, who: Person, fields: Fields) -> None:
    if not database.settings().people.oidc.ask_again:
        raise NotAllowed("the identity provider need not ask who you are here; let an admin give you a code")
    own_account.choose_pin(database.engine(), fields.get("pin", ""), who=who, clock=database.clock())


def _account_page(
    request: Request, who: str, roles: str, *, known: bool, refused: str = "", status: int = 200
) -> Response:
    """Without a password here only a PIN is chosen."""
    change = PASSWORD_OR_PIN if known else PIN_ALONE
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
            password=fields.get("password", ""), pin=fields.get("pin", ""), address=address(request),
            clock=database.clock(),
        )  # fmt: skip
    except NotAllowed as error:
        return _code_page(request, name=fields.get("name", ""), refused=sentence(error), status=403)
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


def _key() -> bytes:
    return queries.signing_key()
