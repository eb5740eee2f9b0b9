"""What a proposal would have signaled: its charts over shots that were made already. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from collector.actions.limits_study import Proposed
from dashboard.queries.limits import Tried
from rules.charts.chart import Chart


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """Shots that would have signaled, of so many that were judged.

    Attributes
    ----------
    run : str
    later : bool
        Whether the run came after the one that was studied.
    judged : int
    shot_ids, counters : tuple of int
        Of the shots that would have signaled; a counter may be missing.
    """

    run: str
    later: bool
    judged: int
    shot_ids: tuple[int, ...]
    counters: tuple[int | None, ...]


def try_on(each: Proposed, stretches: Sequence[Tried], *, last: int | None = None) -> list[Outcome]:
    """Let the charts of a proposal judge shots, anew at the beginning of each run.

    Parameters
    ----------
    each : Proposed
    stretches : sequence of Tried
        The run that was studied, and later ones.
    last : int, optional
        Of the run that was studied only its last so many shots are told; the charts see all before them too.
    """
    if each.limits is None:
        return []
    return [_outcome(each.key, each.limits.charts, one, None if one.later else last) for one in stretches]


def _outcome(key: str, charts: Sequence[Chart[object]], one: Tried, last: int | None) -> Outcome:
    values = one.frame[key].to_numpy(dtype=np.float64)
    begin = 0 if last is None else max(len(values) - last, 0)
    places = sorted(
        {place for chart in charts for place, _ in chart.run(values)[1].signals if place >= begin}
    )
    ids, counters = one.frame["id"], one.frame["counter"]
    return Outcome(
        run=one.run, later=one.later, judged=int(np.isfinite(values[begin:]).sum()),
        shot_ids=tuple(int(ids.iloc[place]) for place in places),
        counters=tuple(
            None if counters.isna().iloc[place] else int(counters.iloc[place]) for place in places
        ),
    )  # fmt: skip
