"""What is wrong with the connection to a broker, in sentences that say what to do."""

from __future__ import annotations

import logging
import time
from collections.abc import Sequence

from paho.mqtt.reasoncodes import ReasonCode

from collector.sources.mqtt_settings import MqttSettings
from collector.sources.mqtt_tls import explained

_SAY_AGAIN_S = 60.0  # how often the log says what goes on being wrong


class Trouble:
    """The present trouble of a connection, kept for whoever asks and said in the log.

    Parameters
    ----------
    settings : MqttSettings
    log : logging.Logger
    of : str
        What the connection is called where there is another one to the same broker, with a space after it.

    Attributes
    ----------
    sentence : str or None
        None while nothing is wrong.
    """

    def __init__(self, settings: MqttSettings, log: logging.Logger, of: str = "") -> None:
        self._settings = settings
        self._log = log
        self._of = of
        self._broker = f"the broker at {settings.address}"
        self._said_at_s = 0.0
        self.sentence: str | None = "not started yet"

    def is_over(self) -> None:
        """The broker has taken the connection."""
        self.sentence = None

    def unreachable(self, error: Exception) -> None:
        """There was nobody to connect to, or no way to."""
        why = explained(error, self._settings.host, self._settings.tls)
        self._note(f"no {self._of}connection to {self._broker}: {why}")

    def unanswered(self, *, hung_up: bool) -> None:
        """The connection stood and nothing came.

        Not to be told after version 5 alone, which some brokers leave unanswered before they take 3.1.1.
        """
        if not hung_up:
            self._note(
                f"{self._broker} took the connection but did not answer within "
                f"{self._settings.answer_timeout_s:g} s; see whether it is still starting or overloaded"
            )
            return
        ours = "encrypted" if self._settings.tls else "not encrypted"
        self._note(
            f"{self._broker} hung up without an answer; where this goes on, see whether it runs and, since "
            f"we are {ours} (broker.tls), whether that port is too and asks for a client certificate"
        )

    def refused(self, code: ReasonCode) -> None:
        """The broker does not let us in."""
        self._note(
            f"{self._broker} refused the {self._of}connection ({code}); "
            "check the broker's user and password settings"
        )

    def not_subscribed(self, *, reads: Sequence[str], writes: str | None = None) -> None:
        """We may connect but not read these topics, nor write that one."""
        wanted = f"read {' and '.join(reads)}{f' and to write {writes}' if writes else ''}"
        self._note(f"{self._broker} refused the {self._of}subscription; give this user the right to {wanted}")

    def lost(self, code: ReasonCode) -> None:
        """The connection ended and nobody here ended it."""
        self._note(f"{self._of}connection to {self._broker} lost ({code})")

    def _note(self, sentence: str) -> None:
        now_s = time.monotonic()
        if sentence != self.sentence or now_s - self._said_at_s >= _SAY_AGAIN_S:
            self._log.warning("%s", sentence)
            self._said_at_s = now_s
        self.sentence = sentence
