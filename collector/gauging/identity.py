"""What makes two reports the same gauging, so that sending one again changes nothing."""

from __future__ import annotations

import hashlib
import json

from collector.contract.times import to_text
from collector.gauging.model import NewGauging


def digest(gauging: NewGauging) -> bytes:
    """SHA-256 over the disc as named, the characteristic, the time, the value and the gauge.

    Who gauged, the temperature and the definition are not part of it: a corrected note is no new reading.
    """
    moment = gauging.gauged_at
    facts = [
        gauging.site, gauging.press, gauging.run, gauging.shot_id, gauging.counter, gauging.tray,
        gauging.position, gauging.disc_mark, gauging.order_batch, gauging.order_index,
        gauging.characteristic, None if moment is None else to_text(moment),
        f"{gauging.value:.12g}", gauging.unit, gauging.gauge,
    ]  # fmt: skip
    return hashlib.sha256(json.dumps(facts, ensure_ascii=False).encode()).digest()
