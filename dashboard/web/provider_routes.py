"""Addresses where people sign in at the identity provider: /sign-in/provider, and back from it."""

from __future__ import annotations

from datetime import timedelta
from urllib.parse import urlsplit

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from collector.clock import wall_now
from collector.errors import NotAllowed
from collector.people import by_provider, id_token, provider
from collector.settings_oidc import Oidc
from dashboard.queries import database
from dashboard.queries import people as queries
from dashboard.web import cookies, flow
from dashboard.web.answers import REFUSALS, address, back, guarded, refused
from dashboard.web.flow import Flow
from dashboard.web.forms import is_tls

BEGIN = "/sign-in/provider"
NOT_BEGUN = "this sign-in was not begun in this browser, or is over; begin again"


def routes() -> list[Route]:
    """Routes for the server to mount before the pages."""
    return [
        Route(BEGIN, guarded(_begin), methods=["GET"]),
        Route(provider.CALLBACK, guarded(_back), methods=["GET"]),
    ]


async def _begin(request: Request) -> Response:
    settings = _settings()
    _check_address(request, settings)
    wanted = back(request.query_params.get("next")).strip("/")
    started = flow.begin(wanted, queries.signing_key(), wall=wall_now())
    to = await run_in_threadpool(
        provider.sign_in_address, settings, state=started.state, nonce=started.nonce,
        verifier=started.verifier,
    )  # fmt: skip
    answer = _sent(to)
    flow.put(answer, started, queries.signing_key(), tls=is_tls(request))
    return answer


async def _back(request: Request) -> Response:
    """Whatever comes of it, what the browser held for it is used up."""
    try:
        answer = await _signed_in(request)
    except REFUSALS as error:
        answer = refused(request, error)
    flow.take_back(answer, tls=is_tls(request))
    return answer


async def _signed_in(request: Request) -> Response:
    settings, asked = _settings(), request.query_params
    key, tls = queries.signing_key(), is_tls(request)
    begun = flow.returned(request.cookies, asked.get("state", ""), key, tls=tls, wall=wall_now())
    if begun is None:
        raise NotAllowed(NOT_BEGUN)
    # Several providers may be told apart by this (RFC 9207); ours is one.
    if asked.get("iss", settings.issuer) != settings.issuer:
        raise NotAllowed("this sign-in comes back from another identity provider; begin again")
    token = await run_in_threadpool(_check, settings, begun, asked.get("code", ""), request)
    answer = _sent(back(begun.wanted))
    cookies.put(answer, token, key, tls=tls)
    return answer


def _check(settings: Oidc, begun: Flow, code: str, request: Request) -> str:
    """A new sign-in; the one this browser had before ends. The state is used up before anything is asked."""
    by_provider.use_state(database.engine(), begun.state, expires_at=begun.until, wall=wall_now())
    if not code:
        raise NotAllowed("the identity provider did not sign you in; begin again, or use your password")
    token, keys = provider.id_token(settings, code, verifier=begun.verifier)
    claims = id_token.verified(
        token, keys, issuer=settings.issuer or "", client_id=settings.client_id, nonce=begun.nonce,
        now=wall_now(), asked_since=begun.begun_at if settings.ask_again else None,
    )  # fmt: skip
    lasts = timedelta(hours=database.settings().people.session_hours)
    person = by_provider.begin(
        database.engine(), by_provider.identity(claims, settings), address=address(request),
        clock=database.clock(), lasts=lasts,
    )  # fmt: skip
    before = cookies.token_in(request.cookies, queries.signing_key())
    if before:
        queries.sign_out(before)
    return person.token


def _settings() -> Oidc:
    settings = database.settings().people.oidc
    if settings.issuer is None:
        raise NotAllowed("there is no identity provider here; sign in with your password")
    return settings


def _check_address(request: Request, settings: Oidc) -> None:
    """The cookie must be where the provider sends the browser back to."""
    ours = settings.screens_url or ""
    at, known = urlsplit(str(request.url)), urlsplit(ours)
    if (at.scheme, at.netloc.lower()) != (known.scheme, known.netloc.lower()):
        raise NotAllowed(
            f"the identity provider sends you back to {ours}; open the screens there and sign in"
        )


def _sent(to: str) -> Response:
    return RedirectResponse(to, status_code=303, headers={"cache-control": "no-store"})
