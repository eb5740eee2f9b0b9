"""Which shot does each gauging of an ordered list belong to? By offset, gaps, doubles, anchors.

Discs are seldom marked. What is known is their order: the first gauging belongs to some shot, the next to the
shot after it, but for discs scrapped at the press (gaps) and discs gauged twice (doubles). Where the place of
one gauging is known it is an anchor, and counting starts anew from it.

Our own counting; no source.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Hashable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rules.alignment.offset import OffsetProposal, propose_offset

__all__ = ["Alignment", "align"]

IntArray = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Alignment:
    """Which shot each gauging belongs to.

    Parameters
    ----------
    shots : tuple of (int or None)
        Shot index for each gauging; None where it would lie outside the shots.
    offset : int
        Shot index of the first gauging.
    uncertain : tuple of int
        Gaugings between two anchors that lie farther apart than the list explains: a disc is missing there,
        at a place nobody knows.
    proposal : OffsetProposal or None
        What the shot characteristic says, where one was given.
    """

    shots: tuple[int | None, ...]
    offset: int
    uncertain: tuple[int, ...] = ()
    proposal: OffsetProposal | None = None

    def mapping(self) -> dict[int, int]:
        """Return gauging index -> shot index for those that have a shot."""
        return {place: shot for place, shot in enumerate(self.shots) if shot is not None}


def align(
    order_values: ArrayLike,
    shot_values: ArrayLike | None = None,
    *,
    offset: int | None = None,
    shot_count: int | None = None,
    gaps: Mapping[int, int] | None = None,
    doubles: Collection[int] = (),
    anchors: Mapping[int, int] | None = None,
    order_keys: Sequence[Hashable] | None = None,
    shot_keys: Sequence[Hashable] | None = None,
    search: int = 20,
) -> Alignment:
    """Return which shot each gauging of an ordered list belongs to.

    Parameters
    ----------
    order_values : array_like of float, shape (m,)
        Gauged values in the order of the list; NaN where a place was left empty.
    shot_values : array_like of float, shape (n,), optional
        A shot characteristic that goes with what was gauged; an offset is then proposed.
    offset : int, optional
        Shot index of the first gauging. Without it the proposed one where the data support it, else 0.
    shot_count : int, optional
        Number of shots, where no ``shot_values`` say it.
    gaps : mapping of int to int, optional
        Gauging index -> shots without a gauging just before it.
    doubles : collection of int
        Indices of gaugings of the same disc as the one before.
    anchors : mapping of int to int, optional
        Gauging index -> shot index, where it is known. The first anchor overrules ``offset``.
    order_keys, shot_keys : sequence, optional
        A column that both have (a counter, a disc mark): what is in both exactly once is an anchor.
    search : int
        Offsets up to so many shots either side are tried.

    Returns
    -------
    Alignment

    Raises
    ------
    ValueError
        If an index does not exist, a gap is negative, anchors contradict the order, or only one of the key
        columns is given.
    """
    values = np.asarray(order_values, dtype=np.float64)
    known = {**_shared_keys(order_keys, shot_keys), **(anchors or {})}
    _check(len(values), gaps or {}, doubles, known)
    steps = _steps(len(values), gaps or {}, doubles)
    proposal = None
    if shot_values is not None:
        proposal = propose_offset(values, shot_values, steps=steps, search=search)
        shot_count = len(np.asarray(shot_values))
    if offset is None:
        offset = proposal.offset if proposal is not None and proposal.supported else 0
    places, uncertain = _places(steps, offset, known)
    shots = tuple(
        int(place) if place >= 0 and (shot_count is None or place < shot_count) else None for place in places
    )
    return Alignment(shots, int(places[0]) if len(places) else offset, uncertain, proposal)


def _shared_keys(
    order_keys: Sequence[Hashable] | None, shot_keys: Sequence[Hashable] | None
) -> dict[int, int]:
    """Anchors from keys that occur once in each column."""
    if order_keys is None and shot_keys is None:
        return {}
    if order_keys is None or shot_keys is None:
        raise ValueError(
            "Only one of the two key columns is given; give order_keys and shot_keys, or neither."
        )
    of_shots = _once(shot_keys)
    return {place: of_shots[key] for key, place in _once(order_keys).items() if key in of_shots}


def _once(keys: Sequence[Hashable]) -> dict[Hashable, int]:
    seen: dict[Hashable, list[int]] = {}
    for place, key in enumerate(keys):
        if key is not None and not (isinstance(key, float) and math.isnan(key)):
            seen.setdefault(key, []).append(place)
    return {key: places[0] for key, places in seen.items() if len(places) == 1}


def _check(count: int, gaps: Mapping[int, int], doubles: Collection[int], anchors: Mapping[int, int]) -> None:
    for name, places in (("gap", gaps), ("double", doubles), ("anchor", anchors)):
        for place in places:
            if not 0 <= place < count:
                raise ValueError(
                    f"The {name} at gauging {place} is outside the list of {count}; mend the index."
                )
    for place, gap in gaps.items():
        if gap < 0:
            raise ValueError(f"The gap before gauging {place} is {gap} shots; give 0 or more.")
    if 0 in doubles:
        raise ValueError(
            "The first gauging cannot be a double of the one before; remove it from the doubles."
        )
    for place, shot in anchors.items():
        if shot < 0:
            raise ValueError(f"The anchor at gauging {place} names shot {shot}; shots count from 0.")


def _steps(count: int, gaps: Mapping[int, int], doubles: Collection[int]) -> IntArray:
    """Shots from each gauging to the one before; for the first, the gap before it."""
    steps = np.ones(count, dtype=np.int64)
    steps[list(doubles)] = 0
    if count:
        steps[0] = 0
    for place, gap in gaps.items():
        steps[place] += gap
    return steps


def _places(steps: IntArray, offset: int, anchors: Mapping[int, int]) -> tuple[IntArray, tuple[int, ...]]:
    """Count from the offset, and anew from each anchor; say between which anchors the count is short."""
    places = offset + np.cumsum(steps)
    uncertain: list[int] = []
    last = -1
    for place in sorted(anchors):
        missing = anchors[place] - int(places[place])
        if last >= 0 and missing < 0:
            raise ValueError(
                f"Gauging {place} cannot be of shot {anchors[place]}: counting from the anchor at gauging "
                f"{last} it is of shot {places[place]} or later; mend one of them, or mark doubles between."
            )
        if last >= 0 and missing > 0:
            uncertain.extend(range(last + 1, place))
        places[0 if last < 0 else place :] += missing
        last = place
    return places, tuple(uncertain)
