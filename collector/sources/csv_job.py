"""What an import of a CSV file knows besides the file and its profile."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from collector.contract.members import absurd_time
from collector.contract.policy import Policy
from collector.contract.unreadable import Unreadable, shown

# A file may hold the history of a press, so only the future is absurd in it.
FILE_POLICY = Policy(max_age=timedelta(days=365 * 60))


@dataclass(frozen=True, slots=True, kw_only=True)
class Import:
    """One import.

    Attributes
    ----------
    site : str
        Site the file belongs to.
    now, received_at : datetime
        Service clock and time of the import, aware.
    press, run : str or None
        Press and run where they differ from the profile's.
    policy : Policy
        Bounds on times and presses.
    """

    site: str
    now: datetime
    received_at: datetime
    press: str | None = None
    run: str | None = None
    policy: Policy = FILE_POLICY

    def check_time(self, when: datetime) -> None:
        """Refuse a time that the service clock calls absurd."""
        if not -self.policy.max_age <= when - self.now <= self.policy.max_ahead:
            raise absurd_time("the time of this row", when, self.now)

    def check_press(self, press: str) -> None:
        """Refuse a press that the site does not know."""
        if self.policy.known_presses is not None and press not in self.policy.known_presses:
            raise Unreadable(
                "unknown_press",
                f"press {shown(press)} is not among the known presses of the site",
                "add it to the settings, or mend the name",
            )
