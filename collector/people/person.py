"""A name with the proof that it is theirs."""

from __future__ import annotations

SERVICE = "service"  # the collector itself, in the journal


class Person(str):
    """Somebody who signed in: reads as the name, and carries the token of the sign-in.

    Whoever writes the journal looks the token up in the same transaction, so a name that was merely typed,
    a sign-in that ended and an account that was disabled a moment ago are all worth nothing.
    """

    token: str

    def __new__(cls, name: str, token: str) -> Person:
        """Join a name and the token of its sign-in."""
        person = super().__new__(cls, name)
        person.token = token
        return person
