"""Named errors of evenrun.

    EvenrunError                 everything we raise on purpose
    ├── UserError                a person can mend it: one sentence with the remedy, exit code 2
    │   ├── SettingsError        a setting is missing or out of range
    │   └── ImportRunning        a file of the same name is being imported; try again later
    ├── StoreError               the database cannot do what was asked
    │   ├── StoreUnavailable     ... for now: locked, full, read-only or away; try again later
    │   ├── LeaseLost            ... for this process: another collector has these presses by now
    │   └── ImportEnded          ... for this import: somebody has taken it back while it ran
    ├── ProviderAway             the identity provider cannot be asked, or answers what nobody understands
    ├── NotAllowed               an action that this person or this state does not permit
    └── DeliveryError            a message could not be handed over (`permanent` tells whether to retry)
        └── MaybeSent            ... or perhaps it was: nobody can tell
"""

from __future__ import annotations


class EvenrunError(Exception):
    """Everything evenrun raises on purpose."""


class UserError(EvenrunError):
    """Something a person can mend; the message is one sentence that says what, where and what to do."""


class SettingsError(UserError):
    """A setting is missing or has a value that it may not have."""


class ImportRunning(UserError):
    """Another process imports a file of this name; it can be imported when that has ended."""


class StoreError(EvenrunError):
    """The database cannot do what was asked."""


class StoreUnavailable(StoreError):
    """The database cannot take a write right now; the batch is kept in memory and tried again."""


class LeaseLost(StoreError):
    """Another collector has taken over the presses that a transaction was for; nothing of it was stored."""


class ImportEnded(StoreError):
    """An import was ended by somebody else while it ran; nothing of the transaction was stored."""


class NotAllowed(EvenrunError):
    """The action is not permitted to this person, or not in this state."""


class ProviderAway(EvenrunError):
    """The identity provider cannot be asked now, or its answer is none; passwords and PINs work on."""


class DeliveryError(EvenrunError):
    """A message could not be handed over.

    Parameters
    ----------
    message : str
        What went wrong, in one sentence.
    permanent : bool
        True when trying again cannot help (wrong address, refused credentials).
    """

    def __init__(self, message: str, *, permanent: bool = False) -> None:
        super().__init__(message)
        self.permanent = permanent


class MaybeSent(DeliveryError):
    """Nobody can tell whether a message arrived; one that goes to people is not sent again."""
