"""How far limits from a study can be trusted: provisional, usable or firm, by what the shots are worth.

Source: Bayley and Hammersley (1946) for the effective number; the two bounds, 100 and 300, follow from the
spread of the run length over baselines: Quesenberry (1993).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from rules.limits import FIRM_FROM, USABLE_FROM, Baseline, standing_of

__all__ = ["Standing", "judge"]


@dataclass(frozen=True, slots=True)
class Standing:
    """The verdict on a baseline.

    Parameters
    ----------
    name : str
        ``"provisional"``, ``"usable"`` or ``"firm"``.
    effective_n : float
        Independent shots that tell as much.
    contexts : int
        Restarts and lots the shots come from, 1 or more.
    missing : int
        Shots to go to the next better standing at the same autocorrelation; 0 where firm.
    sentence : str
        The verdict in words.
    """

    name: str
    effective_n: float
    contexts: int
    missing: int
    sentence: str


def judge(baseline: Baseline, *, time: float | None = None, contexts: int = 1) -> Standing:
    """Return the verdict on a baseline.

    Parameters
    ----------
    baseline : Baseline
    time : float, optional
        Shots worth one independent shot; ``(1 + phi) / (1 - phi)`` if not given.
    contexts : int
        Restarts and lots the shots come from.

    Returns
    -------
    Standing
        The name follows from the effective number alone. A second context is asked for in the sentence, since
        it is not always to be had.

    Raises
    ------
    ValueError
        If ``contexts`` is below 1 or ``time`` below 1.

    References
    ----------
    Quesenberry, C. P. (1993). The effect of sample size on estimated limits for Xbar and X control charts.
    J. Quality Technology 25, 237-247 (about 300 values for individuals).
    """
    if contexts < 1:
        raise ValueError(f"A baseline from {contexts} contexts is impossible; give 1 or more.")
    if time is not None and not time >= 1.0:
        raise ValueError(f"One independent shot cannot be worth {time} shots; give 1 or more.")
    if baseline.sigma_method == "given":
        return Standing("firm", float(baseline.n), contexts, 0, "Center and sigma were given: firm.")
    each = (1.0 + baseline.phi) / (1.0 - baseline.phi) if time is None else time
    worth = baseline.n / each
    name = standing_of(worth)
    aim = {"provisional": USABLE_FROM, "usable": FIRM_FROM, "firm": 0.0}[name]
    missing = max(math.ceil(round((aim - worth) * each, 6)), 0)
    return Standing(name, worth, contexts, missing, _sentence(name, baseline.n, worth, contexts, missing))


def _sentence(name: str, n: int, worth: float, contexts: int, missing: int) -> str:
    said = f"{n:,} shots are worth {worth:.0f} independent ones: {name}"
    if missing:
        said += f", {'usable' if name == 'provisional' else 'firm'} after {missing:,} more"
    if contexts == 1:
        return f"{said}; all from one context, so add a restart and a second lot where possible."
    return f"{said}; from {contexts} contexts."
