"""What moved, in words and units."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from collector.alarms.headline import amount, headline, since
from collector.alarms.model import Moved
from collector.contract.quantities import QUANTITIES


def moved(key: str, before: float | None, after: float | None, **changes: Any) -> Moved:
    shift = 0.0 if before is None or after is None else after - before
    fields: dict[str, Any] = {
        "key": key, "direction": int(shift > 0) - int(shift < 0), "before": before, "after": after,
        "unit": next((q.unit for q in QUANTITIES if q.key == key.partition(".")[0]), None),
        "share": 1.2, "shots": 1, "single": False,
    }  # fmt: skip
    return Moved(**(fields | changes))


@pytest.mark.parametrize(
    ("item", "words"),
    [
        (moved("mold_core_temperature", 31.4, 34.52), "Mold core 3.1 °C warmer"),
        (moved("barrel_temperature.3", 200.0, 187.6), "Barrel, zone 3: 12 °C cooler"),
        (moved("cushion", 6.1, 4.48), "Cushion 1.6 mm lower"),
        (moved("injection_time", 2.41, 2.474), "Injection time 0.064 s longer"),
        (moved("peak_melt_pressure", 74.2, 78.4), "Peak melt pressure 4.2 MPa higher"),
        (moved("part_weight", 175.3, 174.9), "Part weight 0.40 g lighter"),
        (moved("screw_speed", 60.0, 57.0), "Screw speed 3.0 1/min slower"),
        (moved("cushion", 6.1, 4.5, single=True), "Cushion low, one shot"),
        (moved("cushion", 6.1, 4.5, single=True, shots=3), "Cushion low, 3 single shots"),
        (moved("recovery_time", 18.0, 25.0, single=True), "Recovery time long, one shot"),
        (moved("cushion", None, 4.5), "Cushion outside its usual range"),
        (moved("color_dose", 1.0, 1.2, unit="g"), "Color dose 0.20 g heavier"),
    ],
)
def test_one_characteristic(item: Moved, words: str) -> None:
    assert headline("process", [item]) == words


def test_the_largest_comes_first_and_single_shots_last() -> None:
    items = [
        moved("cushion", 6.1, 4.5, single=True, share=9.0),
        moved("part_weight", 175.3, 174.9, share=1.1),
        moved("mold_core_temperature", 31.4, 34.5, share=2.0),
    ]
    words = "Mold core 3.1 °C warmer; part weight 0.40 g lighter; cushion low, one shot"
    assert headline("process", items) == words


def test_many_characteristics_are_counted() -> None:
    items = [
        moved(key, 1.0, 2.0) for key in ("cushion", "part_weight", "cycle_time", "recovery_time", "hold_time")
    ]
    assert headline("process", items).endswith("; 2 more")


def test_a_setpoint_is_said_with_its_recipe() -> None:
    items = [moved("cooling_time", 45.0, 36.0)]
    assert headline("recipe", items) == "Cooling time 36.00 s instead of 45.00 s"


def test_every_known_quantity_has_words_for_both_ways() -> None:
    for quantity in QUANTITIES:
        up = headline("process", [moved(quantity.key, 10.0, 12.0)])
        down = headline("process", [moved(quantity.key, 12.0, 10.0)])
        assert up != down
        assert "fault" not in up.lower()


@pytest.mark.parametrize(
    ("size", "words"),
    [
        (0.0004, "less than 0.001 s"),
        (0.0126, "0.013 s"),
        (0.16, "0.16 s"),
        (3.06, "3.1 s"),
        (1234.0, "1,234 s"),
    ],
)
def test_an_amount_has_the_digits_that_people_say(size: float, words: str) -> None:
    assert amount("injection_time", size, "s") == words


def test_since_names_shot_and_clock_time_together() -> None:
    at = datetime(2026, 11, 24, 13, 2, tzinfo=UTC)
    assert since(1022, at, UTC, zone_name="UTC") == "since shot 1,022 (13:02 UTC)"
    assert since(1022, at, ZoneInfo("Europe/Berlin")) == "since shot 1,022 (14:02)"
    assert since(None, at, UTC) == "since 13:02"
    assert since(None, None, UTC) == ""
