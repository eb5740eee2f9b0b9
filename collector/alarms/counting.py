"""What is known of each characteristic of an alarm after one more signaling shot. Pure.

Its levels are judged later, from the values (`collector.alarms.change`).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

from collector.alarms.model import Moved, SignalFact
from collector.contract import quantities

ALWAYS_JUDGED = 8  # signaling shots up to which every batch is judged anew; then at each doubling


def counted(moved: Mapping[str, Moved], facts: Sequence[SignalFact]) -> dict[str, Moved]:
    """The characteristics by key, with the signals of one more shot."""
    of_key = {key: [fact for fact in facts if fact.key == key] for key in dict.fromkeys(f.key for f in facts)}
    return {**moved, **{key: _counted(moved.get(key), mine) for key, mine in of_key.items()}}


def worth_judging(before: Mapping[str, Moved], now: Mapping[str, Moved]) -> bool:
    """Whether there are so many more signaling shots that the levels are to be judged anew."""
    shots, shots_now = (sum(item.shots for item in each.values()) for each in (before, now))
    return shots_now <= ALWAYS_JUDGED or shots_now.bit_length() != shots.bit_length()


def _counted(so_far: Moved | None, facts: Sequence[SignalFact]) -> Moved:
    largest = max(facts, key=_share)
    asked = largest.kind == "setting"  # what is asked of the press now, whatever it was when it began
    if so_far is None:
        return Moved(
            key=largest.key, direction=largest.direction, before=largest.usual,
            after=_finite(largest.value), unit=quantities.unit(largest.key), share=_share(largest), shots=1,
            single=any(fact.one_value_far_out for fact in facts), how=largest.how,
        )  # fmt: skip
    return replace(
        so_far,
        direction=largest.direction or so_far.direction,
        after=so_far.after if so_far.before is not None and not asked else _finite(largest.value),
        share=max(so_far.share, _share(largest)),
        shots=so_far.shots + 1,
    )


def _share(fact: SignalFact) -> float:
    return _finite(fact.share) or 0.0


def _finite(value: float | None) -> float | None:
    """A chart without an opinion says NaN, which the store cannot keep."""
    return value if value is not None and math.isfinite(value) else None
