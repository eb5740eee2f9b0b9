"""What the demo says while it fills its store: what it does, where in the week it is, and how long yet."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime

from rich.console import Console
from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn, TimeRemainingColumn

from collector.cli.moments import weekday

Told = Callable[[datetime], None]


@contextmanager
def filling(console: Console, what: str, *, first: datetime, last: datetime) -> Iterator[Told]:
    """Say what is filled, then give a function that takes the floor time reached.

    On a terminal a bar moves; elsewhere, such as in a log, each day of the floor gets a line.

    Parameters
    ----------
    console : Console
    what : str
        A sentence for the beginning.
    first, last : datetime
        Floor time at which the telling begins and ends.
    """
    console.print(what)
    if console.is_terminal:
        with _bar(console, first, last) as told:
            yield told
    else:
        yield _day_by_day(console, first, last)


@contextmanager
def _bar(console: Console, first: datetime, last: datetime) -> Iterator[Told]:
    columns = (TextColumn("{task.description}"), BarColumn(), TaskProgressColumn(), TimeRemainingColumn())
    with Progress(*columns, console=console, transient=True) as progress:
        task = progress.add_task(weekday(first), total=(last - first).total_seconds())

        def told(until: datetime) -> None:
            at = (until - first).total_seconds()
            progress.update(task, completed=at, description=weekday(until))

        yield told


def _day_by_day(console: Console, first: datetime, last: datetime) -> Told:
    day = first.date()

    def told(until: datetime) -> None:
        nonlocal day
        if until.date() > day:
            console.print(f"{day:%A} is told, {(until - first) / (last - first):.0%} of the week")
            day = until.date()

    return told
