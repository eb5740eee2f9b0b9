"""What a hold holds, said as whoever carries it away needs it: its trays and its discs."""

from __future__ import annotations

import re
from itertools import pairwise

from collector.contract.figures import counted
from collector.store.holds import Extent

_NUMBERED = re.compile(r"(.*?)([0-9]{1,9})")


def tray_words(trays: tuple[str, ...], *, most: int | None = 3) -> str:
    """Name trays as people do: ``trays 41 to 44``, ``tray 7``, ``trays 41 to 44, 47 and 52 to 53``.

    Only trays that follow one another are named as a range: somebody carries them away by this list.

    Parameters
    ----------
    trays : tuple of str
        In the order they were filled.
    most : int or None
        Stretches to name; of more, one less but at least one, and the number of the other trays. None
        names all.

    Returns
    -------
    str
        Empty without any tray.
    """
    if len(trays) <= 2:
        return f"tray{'s' if len(trays) > 1 else ''} {' and '.join(trays)}" if trays else ""
    stretches = _stretches(trays)
    parts = [each[0] if len(each) == 1 else f"{each[0]} to {each[-1]}" for each in stretches]
    if most is not None and len(parts) > most:
        named = max(most - 1, 1)
        parts = [*parts[:named], f"{sum(map(len, stretches[named:]))} more"]
    return f"trays {' and '.join(part for part in (', '.join(parts[:-1]), parts[-1]) if part)}"


def _stretches(trays: tuple[str, ...]) -> list[list[str]]:
    """Cut where a name is not the next number after the one before."""
    found = [[trays[0]]]
    for before, tray in pairwise(trays):
        if _follows(before, tray):
            found[-1].append(tray)
        else:
            found.append([tray])
    return found


def _follows(before: str, tray: str) -> bool:
    """Whether both names are one word, such as ``P2-`` or none, with numbers that rise by one."""
    one, next_one = _NUMBERED.fullmatch(before), _NUMBERED.fullmatch(tray)
    return bool(one and next_one and one[1] == next_one[1] and int(one[2]) + 1 == int(next_one[2]))


def extent_words(extent: Extent, *, most: int | None = 3) -> str:
    """Say what to set aside: ``trays 41 to 44, 92 discs``; `most` as in `tray_words`."""
    discs = counted(extent.discs, "disc")
    named = tray_words(extent.trays, most=most)
    if not named:
        return f"{discs}, no tray known"
    if extent.without_tray:
        return f"{named}, {discs} ({extent.without_tray:,} of them in no known tray)"
    return f"{named}, {discs}"
