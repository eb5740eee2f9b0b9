"""When new limits may replace approved ones: better ones of the same process, or those of a changed one."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from collector.contract import quantities
from collector.errors import NotAllowed
from collector.plan import KeyLimits


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """What a person says when new limits take the place of approved ones.

    The four things to ask before limits are reckoned anew are common practice, no source: is the new behavior
    plainly different, is its cause known, is it wanted, and will it last? The shots answer the first one.

    Attributes
    ----------
    cause : str
        What changed the process.
    intended : bool
        It was meant to change, and its product is good.
    lasting : bool
        It will stay so.
    """

    cause: str
    intended: bool
    lasting: bool

    def check(self) -> None:
        """Refuse what is no reason for new limits.

        Raises
        ------
        NotAllowed
            With what to do instead.
        """
        if not self.cause.strip():
            raise NotAllowed("say what changed the process; where nobody knows, find it out first")
        if not self.intended:
            raise NotAllowed(
                "a change that nobody wanted gets no new limits; bring the press back to its recipe instead"
            )
        if not self.lasting:
            raise NotAllowed("a change that will not last gets no new limits; leave the old ones in force")


def check_replacing(
    made: Sequence[KeyLimits], replaced: Mapping[str, KeyLimits], change: Change | None
) -> None:
    """Approved limits give way to better ones of the same process, or to those of one that was changed."""
    pairs = [(new, replaced[new.key]) for new in made if new.key in replaced]
    moved = [pair for pair in pairs if not _same_process(*pair)]
    if moved and change is None:
        raise NotAllowed(f"{_moved_words(*moved[0])}; say what changed the process, or leave it as it is")
    if change is not None:
        change.check()
    worse = [quantities.label(new.key) for new, old in pairs if new.standing == "provisional" != old.standing]
    if worse:
        raise NotAllowed(
            f"too few shots tell of {', '.join(worse)}: limits that are worth something would give way to "
            "provisional ones; let the run go on, or leave these as they are"
        )


def says_the_same(new: KeyLimits, old: KeyLimits) -> bool:
    """Whether limits would change nothing: the same charts around the same baseline."""
    return new.charts_json() == old.charts_json() and new.baseline.to_dict() == old.baseline.to_dict()


def _same_process(new: KeyLimits, old: KeyLimits) -> bool:
    """Whether the center is where it was, to within a sigma: what the charts in force would hardly see."""
    return abs(new.baseline.center - old.baseline.center) <= old.baseline.sigma


def _moved_words(new: KeyLimits, old: KeyLimits) -> str:
    name = quantities.label(new.key)
    before, after = (quantities.format_value(new.key, each.baseline.center) for each in (old, new))
    return f"{name} went from {before} to {after} since its limits were approved"
