"""What a story hands out: its records as a service gets them, and its truth."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from simulator.faults import Episode
from simulator.floor import Post, run_name
from simulator.records import SimRecord, SimShot
from simulator.scenarios.stream import press_stream
from simulator.scenarios.times import FIRST_RUN, FIRST_STANDING, QUALIFICATION_SHOTS, merged, utc
from simulator.spans import Span
from simulator.truth import Tolerance
from simulator.usual import usual

TOLERANCE_MM = 0.33  # about the dome that a press usually makes; invented
QUALIFIED_BEFORE = timedelta(hours=20)


@dataclass(frozen=True, slots=True, kw_only=True)
class Story:
    """One telling; can be read once.

    Attributes
    ----------
    start : datetime
        When production begins; the qualification run of every press lies before.
    records : iterator
        What the gateways send, in the order in which it arrives.
    made : list of SimShot
        Every shot as it was made, whatever became of its message; filled while `records` is read.
    episodes : tuple of Episode
        What goes wrong.
    tolerance : dict of str to Tolerance
        Dome that each press is allowed.
    qualification : tuple of str
        Names of the runs that limits may be taken from.
    trials : tuple of str
        Names of the runs in which a technician tries settings; their recipe says so, too.
    """

    start: datetime
    records: Iterator[SimRecord]
    made: list[SimShot]
    episodes: tuple[Episode, ...]
    tolerance: dict[str, Tolerance]
    qualification: tuple[str, ...]
    trials: tuple[str, ...] = ()

    def __iter__(self) -> Iterator[SimRecord]:
        """Read the records."""
        return self.records


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One press's part.

    Attributes
    ----------
    place : Post
    spans : sequence of Span
        What it makes when, after its qualification.
    episodes : tuple of Episode
        What goes wrong.
    qualification : Span or None
        Before all of that; None is the day before.
    trials : tuple of str
        Runs among the spans that are trials.
    """

    place: Post
    spans: Sequence[Span]
    episodes: tuple[Episode, ...] = ()
    qualification: Span | None = None
    trials: tuple[str, ...] = ()


def tell(seed: int, start: datetime, parts: Iterable[Part]) -> Story:
    """Put a story together: every press first makes a qualification run."""
    begin, told, made = utc(start), tuple(parts), list[SimShot]()
    return Story(
        start=begin,
        records=merged(_records(seed, begin, part, made) for part in told),
        made=made,
        episodes=tuple(episode for part in told for episode in part.episodes),
        tolerance={part.place.press: allowed(part.place) for part in told},
        qualification=tuple(_qualification(begin, part).run for part in told),
        trials=tuple(run for part in told for run in part.trials),
    )


def allowed(place: Post) -> Tolerance:
    """The dome that a press's discs are sold with: about what it usually makes."""
    middle_mm = round(usual(place.setup).dome_mm, 2)
    return Tolerance(round(middle_mm - TOLERANCE_MM, 2), round(middle_mm + TOLERANCE_MM, 2))


def run_of(place: Post, number: int) -> str:
    """The press's so many-th run after its qualification, from 1."""
    return run_name(FIRST_RUN + 10 * number + place.number - 1)


def _qualification(begin: datetime, part: Part) -> Span:
    if part.qualification is not None:
        return part.qualification
    run = run_name(FIRST_RUN + part.place.number - 1)
    return Span(start=begin - QUALIFIED_BEFORE, run=run, shots=QUALIFICATION_SHOTS)


def _records(seed: int, begin: datetime, part: Part, made: list[SimShot]) -> Iterator[SimRecord]:
    return press_stream(
        part.place,
        [_qualification(begin, part), *part.spans],
        seed=seed,
        episodes=part.episodes,
        standing=FIRST_STANDING,
        made=made.append,
    )
