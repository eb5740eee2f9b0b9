"""What moved, in the words of the floor: "Mold core 3.1 °C warmer", "Cushion low, one shot".

A sentence says what lies outside its usual range, never that something is broken.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime, tzinfo

from collector.alarms.model import AlarmKind, Moved
from collector.contract import quantities
from collector.contract.unit_names import symbol

NAMED = 3  # further characteristics are only counted

# (up, down) by canonical unit: of a level that moved, and of one bad shot
_MOVED_BY_UNIT = {"degC": ("warmer", "cooler"), "s": ("longer", "shorter"), "g": ("heavier", "lighter")}
_MOVED_BY_KEY = {
    "screw_speed": ("faster", "slower"),
    "injection_speed": ("faster", "slower"),
    "diameter": ("larger", "smaller"),
}
_LEVEL_BY_UNIT = {"s": ("long", "short")}
_SENSED = {
    "did_not_follow": "did not follow its setpoint",
    "moved_alone": "left its level, though its setpoint stood",
    "no_cushion": "used up",
}


def headline(kind: AlarmKind, moved: Sequence[Moved]) -> str:
    """Say what moved, lasting changes before single bad shots, largest share of its limit first.

    Parameters
    ----------
    kind : {'process', 'recipe', 'data', ...}
        Kind of the alarm.
    moved : sequence of Moved
        Its characteristics.

    Returns
    -------
    str
        Such as ``Mold core 3.1 °C warmer; cushion 0.4 mm lower``.
    """
    ordered = sorted(moved, key=lambda item: (item.single, -item.share))
    say = _SAYS.get(kind, what_moved)
    parts = [say(item) for item in ordered[:NAMED]]
    if len(ordered) > NAMED:
        parts.append(f"{len(ordered) - NAMED} more")
    return "; ".join([parts[0], *(_lower_first(part) for part in parts[1:])]) if parts else "Signal"


def what_moved(item: Moved) -> str:
    """Say what one characteristic did."""
    if item.single:
        return _bad_shot(item)
    shift = _shift(item)
    if shift is None and item.how in _SENSED:
        return f"{quantities.label(item.key)} {_SENSED[item.how]}"
    if shift is None or shift == 0:
        return f"{quantities.label(item.key)} outside its usual range"
    now, before = sides(item)
    moved = f"{_subject(item, now, before)} {amount(item.key, abs(shift), item.unit)} {now}"
    return moved if item.turned_shot_id is None else f"{moved}, {before} before"


def sides(item: Moved) -> tuple[str, str]:
    """What a level is called on the side where it is, and on the other: ``("warmer", "cooler")``."""
    up, down = _MOVED_BY_KEY.get(item.key, _MOVED_BY_UNIT.get(item.unit or "", ("higher", "lower")))
    return (down, up) if (_shift(item) or 0.0) < 0 else (up, down)


def amount(key: str, size: float, unit: str | None) -> str:
    """Write the size of a shift with as many digits as people would say: ``3.1 °C``, ``0.064 s``."""
    sensible = 0 if size >= 10 else 1 if size >= 1 else 2 if size >= 0.1 else 3
    quantity = quantities.find(key)
    decimals = sensible if quantity is None else min(sensible, max(quantity.decimals, 1))
    least = 10.0**-decimals
    number = f"{size:,.{decimals}f}" if size >= least / 2 else f"less than {least:.{decimals}f}"
    return f"{number} {symbol(unit)}".rstrip() if unit else number


def since(counter: int | None, at: datetime | None, zone: tzinfo, *, zone_name: str = "") -> str:
    """Say since which shot, with its clock time: ``since shot 1,022 (14:02)``; empty if nothing is known."""
    clock = "" if at is None else f"{at.astimezone(zone):%H:%M}{' ' + zone_name if zone_name else ''}"
    if counter is None:
        return f"since {clock}" if clock else ""
    return f"since shot {counter:,}" + (f" ({clock})" if clock else "")


def out_of_tolerance(item: Moved, low: float | None, high: float | None) -> str:
    """What the gauge found: ``Dome 4.31 mm, allowed 2.10 mm to 2.76 mm; one disc``."""
    ends = [quantities.format_value(item.key, end, item.unit) for end in (low, high) if end is not None]
    allowed = " to ".join(ends) if len(ends) > 1 else f"at {'most' if low is None else 'least'} {ends[0]}"
    discs = "one disc" if item.shots == 1 else f"{item.shots} discs, this the worst"
    return f"{quantities.label(item.key)} {_value(item, item.after)}, allowed {allowed}; {discs}"


def _bad_shot(item: Moved) -> str:
    words = _LEVEL_BY_UNIT.get(item.unit or "", ("high", "low"))
    shift = _shift(item) or item.direction
    number = "one shot" if item.shots == 1 else f"{item.shots} single shots"
    return f"{quantities.label(item.key)} {words[shift < 0]}, {number}"


def _off_recipe(item: Moved) -> str:
    name = quantities.label(item.key)
    if item.before is None or item.after is None:
        return f"{name} outside what the recipe allows"
    reported = quantities.format_value(item.key, item.after, item.unit)
    asked = quantities.format_value(item.key, item.before, item.unit)
    return f"{name} {reported} instead of {asked}"


def _in_doubt(item: Moved) -> str:
    """Say what is odd about values that nobody should take for the press's."""
    name, now = quantities.label(item.key), _value(item, item.after)
    match item.how:
        case "stuck":
            return f"{name} stands still at {now}"
        case "zero":
            return f"{name} reads 0, usually {_value(item, item.before)}"
        case "unit_jump":
            return f"{name} reads {now}, usually {_value(item, item.before)}: another unit?"
        case "coarse":
            return f"{name} comes in coarser steps"
    return f"{name} reads {now}, which it cannot be"


def _value(item: Moved, value: float | None) -> str:
    return "something else" if value is None else quantities.format_value(item.key, value, item.unit)


def _shift(item: Moved) -> float | None:
    return None if item.before is None or item.after is None else item.after - item.before


def _subject(item: Moved, *words: str) -> str:
    name = quantities.label(item.key)
    if "warmer" in words:
        name = name.replace(" temperature", "")
    return f"{name}:" if name[-1:].isdigit() else name


def _lower_first(text: str) -> str:
    return text[:1].lower() + text[1:]


_SAYS: dict[AlarmKind, Callable[[Moved], str]] = {"recipe": _off_recipe, "data": _in_doubt}
