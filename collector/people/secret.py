"""What people know: making it, refusing what is easily guessed, and checking it.

Passwords and PINs are kept as Argon2id (RFC 9106) with the library's parameters; tokens and one-time codes
are random and long, so a plain SHA-256 of them is enough. The rules for passwords follow NIST SP 800-63B
section 5.1.1.2 (length instead of composition, no known ones; from memory), with 12 characters as in
OWASP ASVS 4.0.3, 2.1.1 (from memory).
"""

from __future__ import annotations

import secrets
from functools import cache
from hashlib import sha256

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

from collector.errors import NotAllowed

SHORTEST, LONGEST = 12, 128
PIN_SHORTEST, PIN_LONGEST = 4, 8
# No letter or digit that reads like another.
ALPHABET = "ABCDEFGHJKLMNPQRSTUVWXYZ23456789"
ORDERED = ("abcdefghijklmnopqrstuvwxyz", "qwertyuiopasdfghjklzxcvbnm", "01234567890", "98765432109")
# Beginnings of what lists of stolen passwords are full of (from memory), and of what comes to mind here.
KNOWN = ("password", "passwort", "letmein", "welcome", "iloveyou", "administrator", "evenrun", "changeme")

_hasher = PasswordHasher()


@cache
def _nobodys() -> str:
    """What is checked where there is no account, so that the answer takes as long as for a wrong password."""
    return _hasher.hash(secrets.token_hex())


def token() -> str:
    """A new secret of a sign-in, 256 random bits."""
    return secrets.token_urlsafe(32)


def code() -> str:
    """A new one-time code, 60 random bits, to be read out and typed: ``K7QF-2MXD-9HTA``."""
    letters = "".join(secrets.choice(ALPHABET) for _ in range(12))
    return "-".join((letters[:4], letters[4:8], letters[8:]))


def digest(text: str) -> bytes:
    """What is kept of a token or a code; a code may be typed in small letters and without its hyphens."""
    return sha256(text.encode()).digest()


def code_digest(typed: str) -> bytes:
    """Digest of a code, however it was typed."""
    return digest("".join(sign for sign in typed.upper() if sign in ALPHABET))


def hashed(secret: str) -> str:
    """Argon2id hash of a password or a PIN, with its salt and parameters."""
    return _hasher.hash(secret)


def fits(secret: str, stored: str | None) -> bool:
    """Whether a password or PIN is the stored one; takes as long when nothing is stored."""
    try:
        return _hasher.verify(stored or _nobodys(), secret) and stored is not None
    except (VerificationError, InvalidHashError):
        return False


def check_password(password: str, name: str) -> None:
    """Refuse a password that is too short, too long or easily guessed.

    Raises
    ------
    NotAllowed
        With what to do instead.
    """
    if len(password) < SHORTEST:
        raise NotAllowed(f"a password needs at least {SHORTEST} characters; four unrelated words make one")
    if len(password) > LONGEST:
        raise NotAllowed(f"a password has at most {LONGEST} characters; shorten it")
    if _is_easy(password.casefold(), name.casefold()):
        raise NotAllowed("this password is among the first that are tried; take four unrelated words")


def check_pin(pin: str) -> None:
    """Refuse a PIN that is none or that everybody tries first.

    Raises
    ------
    NotAllowed
        With what to do instead.
    """
    if not (pin.isascii() and pin.isdecimal() and PIN_SHORTEST <= len(pin) <= PIN_LONGEST):
        raise NotAllowed(f"a PIN has {PIN_SHORTEST} to {PIN_LONGEST} digits and nothing else")
    if len(set(pin)) < 3 or any(pin in ordered for ordered in ORDERED):
        raise NotAllowed("this PIN is among the first that are tried; take three different digits or more")


def _is_easy(password: str, name: str) -> bool:
    if len(set(password)) < 5:
        return True
    rest = password
    for part in (*filter(None, (name, name.replace(" ", ""))), *KNOWN):
        rest = rest.replace(part, "")
    # What is left when names, well-known words, rows of keys and digits are taken out.
    for ordered in ORDERED:
        for length in range(len(ordered), 3, -1):
            for start in range(len(ordered) - length + 1):
                rest = rest.replace(ordered[start : start + length], "")
    return sum(sign.isalpha() for sign in rest) < 4
