"""What all addresses for signing in share: where to go back to, and refusals as a sentence on a page."""

from __future__ import annotations

from collections.abc import Awaitable, Callable

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from collector.errors import NotAllowed, ProviderAway, StoreError
from dashboard.app import PAGES
from dashboard.queries import people as queries
from dashboard.web.forms import page

REFUSALS = (NotAllowed, ProviderAway, StoreError)


def back(wanted: str | None) -> str:
    """Where to go after signing in: one of our pages and nothing else, whatever the address says."""
    known = {row.module for row in PAGES if row.module != "floor"}
    return f"/{wanted}" if wanted in known else "/"


def guarded(
    handler: Callable[[Request], Awaitable[Response]],
) -> Callable[[Request], Awaitable[Response]]:
    """What a person, the store or the provider cannot do is a sentence on a page and never a stack."""

    async def answer(request: Request) -> Response:
        try:
            if not await run_in_threadpool(queries.are_accounts):
                return RedirectResponse("/", status_code=303)
            return await handler(request)
        except REFUSALS as error:
            return refused(request, error)

    return answer


def refused(request: Request, error: Exception) -> Response:
    """A page that says why something was not done."""
    status = 403 if isinstance(error, NotAllowed) else 503
    links = (("/sign-in", "Sign in"),)
    # Without a form and so without the store's key: the store may be what cannot be asked.
    return page(request, b"", title="Not done", refused=sentence(error), links=links, status=status)


def sentence(error: Exception) -> str:
    """An error's words as a page writes them."""
    words = str(error).rstrip(".")
    return f"{words[:1].upper()}{words[1:]}."


def address(request: Request) -> str:
    """Where a request came from."""
    return request.client.host if request.client else "unknown"
