"""Many stories in a few processes, and a command line around it."""

from __future__ import annotations

import multiprocessing
import os
import sys
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from typing import Any, TypeVar

import typer

from collector.errors import UserError

Made = TypeVar("Made")
Task = tuple[str, int]


def each(work: Callable[[Task], Made], tasks: Sequence[Task], jobs: int) -> Iterator[tuple[Task, Made]]:
    """Do every task, in no order when `jobs` is more than 1.

    Parameters
    ----------
    work : callable
        Of a module, or a `functools.partial` of one, so that it can be sent to another process.
    tasks : sequence of (str, int)
        Name of a story and seed.
    jobs : int
        Processes at work.
    """
    if jobs == 1:
        for task in tasks:
            yield task, work(task)
        return
    # Started anew, they read this before numpy does: threads for small matrices cost more than they bring.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    with ProcessPoolExecutor(jobs, mp_context=multiprocessing.get_context("spawn")) as pool:
        futures = {pool.submit(work, task): task for task in tasks}
        for number, future in enumerate(as_completed(futures), 1):
            if sys.stderr.isatty():
                typer.echo(f"\r{number} of {len(tasks)} stories", nl=number == len(tasks), err=True)
            yield futures[future], future.result()


def run(command: Callable[..., Any], arguments: Sequence[str] | None) -> None:
    """Run a command; a mistake of the user is one sentence."""
    app = typer.Typer(add_completion=False)
    app.command()(command)
    try:
        app(None if arguments is None else list(arguments))
    except UserError as error:
        typer.echo(f"error: {error}", err=True)
        raise SystemExit(2) from error
