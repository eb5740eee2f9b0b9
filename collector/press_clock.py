"""By how much the clock of a press is behind ours, from when its shots ended and when they were heard. Pure.

A shot is heard after it ended, so the smallest of the last lags is nearest to the difference of the clocks.
Lags that fall from shot to shot are a backlog being worked off and say nothing of any clock.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

WINDOW = 5     # shots heard, one a transaction
STEADY_S = 20.0  # they must agree this well
FAR_S = 60.0   # differences beyond are told, and told again when they move as far


@dataclass(frozen=True, slots=True)
class PressClock:
    """What is known of the clock of a press.

    Attributes
    ----------
    lags_s : tuple of float
        Our time less the press's, of the last shots, s.
    behind_s : float or None
        By how much its clock is behind ours; None before anything can be said.
    told_s : float
        The difference that was told last, 0 before.
    """

    lags_s: tuple[float, ...] = ()
    behind_s: float | None = None
    told_s: float = 0.0


NOT_HEARD = PressClock()


def hear(known: PressClock, lag_s: float) -> tuple[PressClock, str | None]:
    """Take the lag of one more shot.

    Parameters
    ----------
    known : PressClock
    lag_s : float
        Our time less the press's time of the end of the shot, s.

    Returns
    -------
    known : PressClock
    sentence : str or None
        What has to be said now.
    """
    lags = (*known.lags_s, lag_s)[-WINDOW:]
    known = replace(known, lags_s=lags)
    if len(lags) < WINDOW or max(lags) - min(lags) > STEADY_S:
        return known, None
    known = replace(known, behind_s=min(lags))
    assert known.behind_s is not None
    if abs(known.behind_s - known.told_s) <= FAR_S:
        return known, None
    return replace(known, told_s=known.behind_s), words(known.behind_s)


def words(behind_s: float) -> str:
    """``the press's clock is 3.2 min behind ours``."""
    if abs(behind_s) <= FAR_S:
        return "the press's clock agrees with ours again"
    side = "behind" if behind_s > 0 else "ahead of"
    minutes = abs(behind_s) / 60
    size = f"{minutes:.1f} min" if minutes < 120 else f"{minutes / 60:.1f} h"
    return f"the press's clock is {size} {side} ours"
