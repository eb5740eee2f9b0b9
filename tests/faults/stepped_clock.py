"""A collector whose computer has a clock that a test can step: imported before anything else of it.

Only by that process: importing this changes what time it is for all of `collector`.

`STEP_FILE` names a file with seconds that are added to real time, from the next reading on.
"""

from __future__ import annotations

import os
from datetime import datetime, timedelta, tzinfo
from pathlib import Path

from collector import clock
from tests.faults.step_file import STEP_FILE


class Stepped(datetime):
    """The only part of `datetime` that the product asks for the time."""

    @classmethod
    def now(cls, tz: tzinfo | None = None) -> datetime:  # type: ignore[override]
        """Real time and the step."""
        text = Path(os.environ[STEP_FILE]).read_text(encoding="ascii").strip()
        return datetime.now(tz) + timedelta(seconds=float(text or 0))


clock.datetime = Stepped  # type: ignore[misc]
