"""Asking an OpenID Connect provider: its discovery document, its keys, and an ID token for a code.

Everything is asked anew at each sign-in: those are rare, and keys change. Redirects are not followed, so a
client secret goes to the provider or nowhere. What the provider answers is never shown but for its error
code, and nothing is logged.

References
----------
OpenID Connect Core 1.0 and Discovery 1.0; RFC 6749 (OAuth 2.0), RFC 7636 (PKCE), RFC 9700 (its security).
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from threading import BoundedSemaphore
from typing import Any

import requests
from authlib.integrations.base_client import OAuthError
from authlib.integrations.requests_client import OAuth2Session
from joserfc.jwk import KeySet

from collector.errors import NotAllowed, ProviderAway
from collector.people.id_token import keys_in
from collector.settings_oidc import Oidc, is_safe_address

CALLBACK = "/sign-in/provider/back"
TIMEOUT_S = 5.0
AT_ONCE = 8  # askings at the same moment, so that a slow provider does not hold up the screens
LONGEST_S = 600  # seconds since the provider asked the person, which obliges it to say when it did
ERROR_CODE = re.compile(r"[a-z_]{1,40}")

_askings = BoundedSemaphore(AT_ONCE)


@dataclass(frozen=True, slots=True)
class Endpoints:
    """Where a provider is asked what."""

    authorization: str
    token: str
    jwks: str
    secret_in_body: bool


def sign_in_address(settings: Oidc, *, state: str, nonce: str, verifier: str) -> str:
    """Where a browser is sent to sign in.

    Raises
    ------
    ProviderAway
        The provider cannot be asked where that is.
    """
    with _asking():
        client, at = _client(settings, discover(settings))
        again = {"prompt": "login", "max_age": LONGEST_S} if settings.ask_again else {}
        address, _ = client.create_authorization_url(
            at.authorization, state=state, code_verifier=verifier, nonce=nonce, **again
        )
        return str(address)


def id_token(settings: Oidc, code: str, *, verifier: str) -> tuple[str, KeySet]:
    """The ID token for a code, not yet looked at, and the keys to look at it with.

    Raises
    ------
    ProviderAway
        The provider cannot be asked, or knows the screens no longer.
    NotAllowed
        The provider does not take the code.
    """
    with _asking():
        client, at = _client(settings, discover(settings))
        try:
            given = client.fetch_token(
                at.token, grant_type="authorization_code", code=code, code_verifier=verifier,
                timeout=TIMEOUT_S, allow_redirects=False, verify=_trust(settings),
            )  # fmt: skip
        except OAuthError as error:
            raise _turned_down(str(error.error)) from error
        token = given.get("id_token")
        if not isinstance(token, str):
            raise ProviderAway("the identity provider gave no ID token; see that it allows the scope openid")
        return token, keys_in(_document(settings, at.jwks))


def discover(settings: Oidc) -> Endpoints:
    """Read the provider's discovery document.

    Raises
    ------
    ProviderAway
        It cannot be read, is none, or speaks for another issuer.
    """
    issuer = settings.issuer or ""
    found = _document(settings, f"{issuer.rstrip('/')}/.well-known/openid-configuration")
    if found.get("issuer") != issuer:
        raise ProviderAway("the identity provider names itself otherwise than people.oidc.issuer does")
    names = ("authorization_endpoint", "token_endpoint", "jwks_uri")
    authorization, token, jwks = (_endpoint(found.get(name), name) for name in names)
    methods = found.get("token_endpoint_auth_methods_supported")
    offered = methods if isinstance(methods, list) else []
    in_body = "client_secret_post" in offered and "client_secret_basic" not in offered
    return Endpoints(authorization, token, jwks, in_body)


def _endpoint(address: object, name: str) -> str:
    # An address may carry a query (RFC 6749, 3.1); what must hold is TLS.
    if not isinstance(address, str) or not is_safe_address(address.partition("?")[0]):
        raise ProviderAway(f"the identity provider gives no {name} that begins with https://")
    return address


def _client(settings: Oidc, at: Endpoints) -> tuple[OAuth2Session, Endpoints]:
    secret = _secret(settings)
    method = ("client_secret_post" if at.secret_in_body else "client_secret_basic") if secret else "none"
    client = OAuth2Session(
        settings.client_id, secret, token_endpoint_auth_method=method, scope=" ".join(settings.scopes),
        redirect_uri=f"{(settings.screens_url or '').rstrip('/')}{CALLBACK}", code_challenge_method="S256",
    )  # fmt: skip
    return client, at


def _secret(settings: Oidc) -> str | None:
    if settings.client_secret_file is None:
        return None
    try:
        secret = settings.client_secret_file.read_text(encoding="utf-8").strip()
    except (OSError, UnicodeDecodeError) as error:
        raise ProviderAway(
            "the file that people.oidc.client_secret_file names cannot be read; mend that, and sign in again"
        ) from error
    if not secret:
        raise ProviderAway(
            "the file that people.oidc.client_secret_file names is empty; put the secret in it"
        )
    return secret


def _document(settings: Oidc, address: str) -> dict[str, Any]:
    answer = requests.get(
        address, timeout=TIMEOUT_S, allow_redirects=False, verify=_trust(settings),
        headers={"accept": "application/json"},
    )  # fmt: skip
    found = answer.json() if answer.status_code == 200 else None
    if not isinstance(found, dict):
        raise ValueError("no JSON object")
    return found


def _trust(settings: Oidc) -> str | bool:
    return True if settings.ca_file is None else str(settings.ca_file)


def _turned_down(code: str) -> Exception:
    """The code was no good, which beginning again mends; anything else is about the screens themselves."""
    if code == "invalid_grant":
        return NotAllowed("the identity provider does not take this sign-in any more; begin again")
    shown = code if ERROR_CODE.fullmatch(code) else "an unknown error"
    return ProviderAway(f"the identity provider turns the screens away ({shown}); check people.oidc")


@contextmanager
def _asking() -> Iterator[None]:
    """Ask as one of a few, and turn what goes wrong on the way into a sentence."""
    if not _askings.acquire(blocking=False):
        raise ProviderAway("many sign in at this moment; try again in a minute")
    try:
        yield
    except requests.exceptions.SSLError as error:
        raise ProviderAway(
            "the identity provider's certificate is not trusted here; people.oidc.ca_file names its authority"
        ) from error
    except (requests.RequestException, OSError, ValueError) as error:
        # The error may name addresses and what was sent: it stays out of the sentence.
        raise ProviderAway(
            "the identity provider cannot be reached or gives no answer; try again, or use your password"
        ) from error
    finally:
        _askings.release()
