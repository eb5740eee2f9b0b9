"""Instances of a size known beforehand, for stories that must go as they are told, such as the demo's."""

from simulator.faults import Case
from simulator.floor import Post
from simulator.health import SOUND

MISS_RATE = SOUND.ring_miss_rate + 0.01


def known(fault: str, place: Post) -> Case:
    """The usual size and speed of one of the six faults that the demo goes through."""
    return _KNOWN[fault] if fault != "lot_change" else _lot(place)


def _lot(place: Post) -> Case:
    return Case(
        health={"viscosity_factor": 1.06, "shrink_factor": 1.18},
        growth="settling",
        rise_s=120.0,
        lot=place.other_lot,
    )


_KNOWN: dict[str, Case] = {
    "blocked_coolant_core": Case(health={"core_flow_share": 0.4}, growth="settling", rise_s=400.0),
    "blocked_coolant_cavity": Case(health={"cavity_flow_share": 0.4}, growth="settling", rise_s=400.0),
    "worn_check_ring": Case(
        health={"ring_leak_mm": 2.5, "ring_miss_rate": MISS_RATE}, growth="settling", rise_s=900.0
    ),
    "early_gate": Case(health={"cut_s": 8.0, "pace_spread": 0.25}),
    "shorter_cooling": Case(settings={"cooling_time_s": 33.0}),
}
ROTATION = ("lot_change", *_KNOWN)
