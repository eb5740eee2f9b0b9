"""Which version of MQTT an attempt to connect speaks: 5 first, 3.1.1 at once where a broker cannot read 5.

Such a broker refuses version 5 by name or, as the embedded one does, does not answer at all. One that is just
restarting may be as silent, so every new round begins with 5 again.
"""

from __future__ import annotations

from typing import Literal

from paho.mqtt.client import MQTTv5, MQTTv311
from paho.mqtt.enums import MQTTProtocolVersion
from paho.mqtt.reasoncodes import ReasonCode

from collector.sources.mqtt_settings import MqttSettings

_UNSUPPORTED = 0x84  # MQTT 5.0, table 3-1; paho gives the same code for the refusal of a 3.1.1 broker


class Version:
    """The version of the present or next attempt.

    Attributes
    ----------
    protocol : MQTTProtocolVersion
    falls_back : bool
        The next attempt speaks 3.1.1 only because the last one spoke 5, so that nothing is gained by waiting.
    """

    def __init__(self, settings: MqttSettings) -> None:
        self._settings = settings
        self._refused = False
        self.protocol: MQTTProtocolVersion = MQTTv311 if settings.protocol == "3.1.1" else MQTTv5
        self.falls_back = False

    @property
    def name(self) -> Literal["5", "3.1.1"]:
        """As people write it."""
        return "5" if self.protocol == MQTTv5 else "3.1.1"

    @property
    def patience_s(self) -> float:
        """Longest wait for an answer, s: short where there may never be one."""
        perhaps_3_1_1 = self._settings.protocol == "auto" and self.protocol == MQTTv5
        return self._settings.connect_timeout_s if perhaps_3_1_1 else self._settings.answer_timeout_s

    def is_refused(self, code: ReasonCode) -> bool:
        """Whether a refusal is one of the version alone."""
        self._refused = code.value == _UNSUPPORTED
        return self._refused

    def choose(self, *, unanswered: bool) -> None:
        """Choose the version of the next attempt."""
        if self._settings.protocol != "auto":
            return
        self.falls_back = self.protocol == MQTTv5 and (unanswered or self._refused)
        self.protocol = MQTTv311 if self.falls_back else MQTTv5
        self._refused = False
