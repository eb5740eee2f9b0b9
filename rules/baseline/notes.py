"""What a person should be told of a phase I study, in sentences.

Our own choice of what matters; no source.
"""

from __future__ import annotations

from rules.baseline.autocorrelation import Autocorrelation
from rules.baseline.memory import Memory
from rules.baseline.stability import HOLDS
from rules.baseline.studied import Study

__all__ = ["notes_of"]


def notes_of(found: Study) -> tuple[str, ...]:
    """Return what a person should know of a study, in sentences; those on outliers last.

    Parameters
    ----------
    found : Study

    Returns
    -------
    tuple of str
        Why sigma is what it is, the autocorrelation and the standing always; the rest where there is
        something to say.
    """
    notes = [_startup_note(each) for each in found.startups]
    if found.left_out:
        notes.append(f"{len(found.left_out)} shots are left out by a person's choice.")
    notes += [found.spread.sentence, _autocorrelation_note(found.correlation)]
    if found.stability.sentence != HOLDS:
        notes.append(found.stability.sentence)
    if found.wanders:
        notes.append("A plain chart of such values cannot work: state how far it may go instead.")
    elif not found.memory.is_enough:
        notes.append(_memory_note(found.memory))
    if found.shape.kind in ("skewed", "heavy_tailed", "coarse"):
        notes.append(found.shape.sentence)
    if found.resolution is not None:
        notes.append(f"Values come in steps of {found.resolution:.4g}.")
    notes += [each.sentence for each in found.changes]
    notes.append(found.standing.sentence)
    notes += [f"Look at shot {each.index}: {each.reason}" for each in found.proposed]
    return tuple(notes)


def _startup_note(stretch: tuple[int, int]) -> str:
    start, stop = stretch
    if start == 0:
        return f"The first {stop} shots differ from the later level and are left out."
    return f"Shots {start} to {stop - 1} differ from the level after them and are left out."


def _autocorrelation_note(correlation: Autocorrelation) -> str:
    return (
        f"Autocorrelation at lag 1 is {correlation.phi:.2f} "
        f"(95 % interval {correlation.low:.2f} to {correlation.high:.2f})."
    )


def _memory_note(memory: Memory) -> str:
    return f"Lag 1 does not tell all of the memory: {memory.time:.1f} shots are worth one independent shot."
