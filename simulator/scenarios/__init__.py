"""Named stories of the pretend shop: generators of shots and events in time order, each with its truth."""

from collections.abc import Callable
from datetime import datetime
from functools import partial

from simulator.faults import FAULTS
from simulator.records import SimEvent, SimGauging, SimRecord, SimShot, Truth
from simulator.scenarios import conduct, troubles
from simulator.scenarios.live import live, live_episodes
from simulator.scenarios.plain import plain
from simulator.scenarios.single import one_fault
from simulator.scenarios.story import Part, Story, tell
from simulator.scenarios.times import QUALIFICATION_SHOTS, standing_after
from simulator.scenarios.week import ordinary_week, week_end, week_episodes, week_story
from simulator.spans import Standing

__all__ = [
    "QUALIFICATION_SHOTS",
    "SCENARIOS",
    "Part",
    "Scenario",
    "SimEvent",
    "SimGauging",
    "SimRecord",
    "SimShot",
    "Standing",
    "Story",
    "Truth",
    "live",
    "live_episodes",
    "one_fault",
    "ordinary_week",
    "plain",
    "standing_after",
    "tell",
    "week_end",
    "week_episodes",
    "week_story",
]

Scenario = Callable[[int, datetime], Story]

# Name -> function(seed, start): every story that can be scored, those of a single fault as fault_NAME.
SCENARIOS: dict[str, Scenario] = {
    "sound_days": conduct.sound_days,
    "ordinary_week": week_story,
    "startup_after_lunch": conduct.startup_after_lunch,
    "trial_day": conduct.trial_day,
    "night_shift": conduct.night_shift,
    "lot_change": troubles.lot_change,
    "limited_fill_lot": troubles.limited_fill_lot,
    "failed_chiller": troubles.failed_chiller,
    "drift_before_complaint": troubles.drift_before_complaint,
    "wandering_ring": troubles.wandering_ring,
    "old_press": troubles.old_press,
    "busy_day": troubles.busy_day,
    "bad_gateway": conduct.bad_gateway,
    **{f"fault_{name}": partial(one_fault, name) for name in FAULTS},
}
