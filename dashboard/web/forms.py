"""Forms of our own outside of the pages: drawing them, and taking only what they themselves sent."""

from __future__ import annotations

import secrets
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from urllib.parse import parse_qsl, urlsplit

import jinja2
from starlette.requests import Request
from starlette.responses import HTMLResponse

from collector.errors import NotAllowed
from dashboard.web import cookies
from dashboard.web.headers import FORMS_POLICY, POLICY

HERE = Path(__file__).parent
BROWSER = "evenrun_form"
LARGEST_BYTES = 8_192
MOST_FIELDS = 12


@dataclass(frozen=True, slots=True)
class Field:
    """One field of a form."""

    name: str
    label: str
    type: str = "text"
    autocomplete: str = "off"
    value: str = ""
    hint: str = ""
    longest: int = 200
    required: bool = True
    digits: bool = False


@dataclass(frozen=True, slots=True)
class Form:
    """A form with its button; `first` gets the cursor."""

    action: str
    button: str
    fields: tuple[Field, ...] = ()
    title: str = ""
    first: bool = False


def page(
    request: Request,
    key: bytes,
    *,
    title: str,
    forms: Sequence[Form] = (),
    said: str = "",
    refused: str = "",
    back_to: str = "",
    links: Sequence[tuple[str, str]] = (),
    instead: tuple[str, str] | None = None,
    status: int = 200,
) -> HTMLResponse:
    """Draw a page; everything in it is escaped. `instead` is a way around its forms: address and words."""
    browser = request.cookies.get(BROWSER) or secrets.token_urlsafe(24)
    text = _template().render(
        title=title, forms=forms, said=said, refused=refused, next=back_to, links=links,
        instead=instead, token=cookies.form_token(browser, key),
    )  # fmt: skip
    headers = {POLICY: FORMS_POLICY, "cache-control": "no-store"}
    answer = HTMLResponse(text, status_code=status, headers=headers)
    answer.set_cookie(BROWSER, browser, httponly=True, samesite="strict", secure=is_tls(request), path="/")
    return answer


async def sent(request: Request, key: bytes) -> dict[str, str]:
    """Fields of a form that a page of ours drew for this browser.

    Raises
    ------
    NotAllowed
        Another site sent it, it lacks what the page put into it, or it is too large.
    """
    origin = urlsplit(request.headers.get("origin", ""))
    if not origin.netloc or origin.netloc != request.headers.get("host"):
        raise NotAllowed("this form did not come from this site; open the page and send it from there")
    body = b""
    async for chunk in request.stream():
        body += chunk
        if len(body) > LARGEST_BYTES:
            raise NotAllowed("this form is too large; reload the page and fill it in again")
    try:
        fields = dict(parse_qsl(body.decode(), keep_blank_values=True, max_num_fields=MOST_FIELDS))
    except ValueError as error:
        raise NotAllowed("this form cannot be read; reload the page and fill it in again") from error
    browser = request.cookies.get(BROWSER, "")
    token = cookies.form_token(browser, key)
    if not browser or not secrets.compare_digest(fields.get("form", "").encode(), token.encode()):
        raise NotAllowed("this form is too old or not of this browser; reload the page and send it again")
    return fields


def is_tls(request: Request) -> bool:
    """Whether the browser talks to us, or to the proxy before us, over TLS."""
    return request.url.scheme == "https"


@lru_cache(maxsize=1)
def _template() -> jinja2.Template:
    environment = jinja2.Environment(autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True)
    return environment.from_string((HERE / "form.html").read_text(encoding="utf-8"))
