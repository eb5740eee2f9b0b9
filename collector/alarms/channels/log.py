"""Messages as lines of the service's log."""

from __future__ import annotations

import logging

logger = logging.getLogger("evenrun.alarm")


class LogChannel:
    """Writes each message as one line to the logger ``evenrun.alarm``."""

    def send(self, topic: str, payload: str, *, retain: bool) -> None:  # noqa: ARG002
        """Write the line; the topic says no more than the line does."""
        logger.warning("%s", payload)
