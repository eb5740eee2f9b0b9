"""Named stories of the pretend shop, each carrying its truth."""

from simulator.records import SimEvent, SimGauging, SimRecord, SimShot, Truth

__all__ = ["SimEvent", "SimGauging", "SimRecord", "SimShot", "Truth"]
