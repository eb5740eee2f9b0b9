"""Whether an ID token is true: OpenID Connect Core 1.0, 3.1.3.7; the signature is checked by a library.

Only signatures that need the provider's private key are taken. `none` and those with a shared secret are not,
whatever the token's header says (RFC 8725, 3.1 and 3.2).
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any

from joserfc import jwt
from joserfc.errors import ExpiredTokenError, InvalidClaimError, JoseError, MissingClaimError
from joserfc.jwk import ECKey, KeySet, OctKey, OKPKey, RSAKey

from collector.errors import NotAllowed, ProviderAway

ALGORITHMS = ("RS256", "RS384", "RS512", "PS256", "PS384", "PS512", "ES256", "ES384", "ES512")
CLOCKS_APART = timedelta(seconds=60)
LONGEST_SUBJECT = 255  # OpenID Connect Core 1.0, 2
WORDS = {
    "iss": "it comes from another issuer", "aud": "it is meant for another service",
    "azp": "it is meant for another service", "nonce": "it belongs to another sign-in",
    "sub": "it does not say who you are", "iat": "its time is not ours: check the clocks",
    "exp": "it does not say when it ends", "nbf": "it does not hold yet: check the clocks",
    "auth_time": "the provider did not ask who you are this time (people.oidc.ask_again wants it)",
}  # fmt: skip


def keys_in(document: Mapping[str, Any]) -> KeySet:
    """Public keys for signatures in a JSON Web Key Set (RFC 7517); what is not understood is left out.

    Raises
    ------
    ProviderAway
        There is none.
    """
    listed = document.get("keys")
    found = [_key(each) for each in listed if isinstance(each, dict)] if isinstance(listed, list) else []
    keys: list[OctKey | RSAKey | ECKey | OKPKey] = [each for each in found if each is not None]
    if not keys:
        raise ProviderAway("the identity provider shows no key that its signatures could be checked with")
    return KeySet(keys)


def verified(
    token: str,
    keys: KeySet,
    *,
    issuer: str,
    client_id: str,
    nonce: str,
    now: datetime,
    asked_since: datetime | None = None,
) -> dict[str, Any]:
    """Claims of an ID token that is true.

    Parameters
    ----------
    token : str
        As the provider's token endpoint gave it.
    keys : KeySet
        From :func:`keys_in`.
    issuer, client_id, nonce : str
        What it must say.
    now : datetime
        Wall time.
    asked_since : datetime or None
        The provider must have asked for the person's secret since then; None: whenever.

    Raises
    ------
    NotAllowed
        It is not true, not for us, not of this sign-in, or over.
    """
    try:
        claims = jwt.decode(token, keys, algorithms=ALGORITHMS).claims
        _registry(issuer, client_id, nonce, now).validate(claims)
        _check_audience(claims, client_id)
        if asked_since is not None:
            _check_asked(claims, asked_since)
    except ExpiredTokenError as error:
        raise _refused("it is over: sign in again, or check the clocks") from error
    except (MissingClaimError, InvalidClaimError) as error:
        raise _refused(WORDS.get(str(error.claim), "a claim in it is not as it must be")) from error
    except (JoseError, ValueError, TypeError) as error:
        raise _refused("it is not signed as it must be") from error
    return claims


def _registry(issuer: str, client_id: str, nonce: str, now: datetime) -> jwt.JWTClaimsRegistry:
    return jwt.JWTClaimsRegistry(
        now=int(now.timestamp()), leeway=int(CLOCKS_APART.total_seconds()),
        iss={"essential": True, "value": issuer}, aud={"essential": True, "value": client_id},
        nonce={"essential": True, "value": nonce}, exp={"essential": True}, iat={"essential": True},
        sub={"essential": True}, azp={"value": client_id},
    )  # fmt: skip


def _check_audience(claims: Mapping[str, Any], client_id: str) -> None:
    """A token for several services must have been given to us (3.1.3.7, 3 to 5)."""
    if len(claims["sub"]) > LONGEST_SUBJECT:
        raise InvalidClaimError("sub")
    if claims["aud"] not in (client_id, [client_id]) and claims.get("azp") != client_id:
        raise InvalidClaimError("azp")


def _check_asked(claims: Mapping[str, Any], since: datetime) -> None:
    at = claims.get("auth_time")
    if isinstance(at, bool) or not isinstance(at, int | float):
        raise MissingClaimError("auth_time")
    # `not >=`: a number that is none fails too
    if not at >= (since - CLOCKS_APART).timestamp():
        raise InvalidClaimError("auth_time")


def _key(data: dict[str, Any]) -> RSAKey | ECKey | None:
    """A key with a public half: never one of a shared secret, whatever it claims to be for."""
    if data.get("use", "sig") != "sig":
        return None
    try:
        if data.get("kty") == "RSA":
            return RSAKey.import_key(data)
        return ECKey.import_key(data) if data.get("kty") == "EC" else None
    except (JoseError, ValueError, TypeError):
        return None


def _refused(why: str) -> NotAllowed:
    return NotAllowed(f"the identity provider's answer is not taken: {why}")
