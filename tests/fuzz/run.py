"""So many cases from hypothesis, through the readers."""

from __future__ import annotations

import tempfile
import warnings
from collections.abc import Callable
from pathlib import Path
from typing import Any

from hypothesis import HealthCheck, Phase, Verbosity, given, settings
from hypothesis import seed as seeded
from hypothesis import strategies as st
from hypothesis.errors import HypothesisWarning

from tests.fuzz import files, messages
from tests.fuzz.judge import FileJudge, MessageJudge, Report

FILE_SHARE = 4  # one case in so many is a file
PART = 10_000  # hypothesis remembers what it made; so many at a time


def fuzz(cases: int, seed: int, say: Callable[[Report], None] = lambda _: None) -> Report:
    """Run the cases.

    Parameters
    ----------
    cases : int
    seed : int
        The same seed makes the same cases.
    say : callable
        Called now and then with what is known so far.
    """
    report = Report()
    wanted_files = cases // FILE_SHARE
    taker = MessageJudge(report)
    number = seed
    while report.cases < cases - wanted_files:
        count = min(PART, cases - wanted_files - report.cases)
        _drive(messages.cases, lambda case: taker.take(*case), count, number)
        number += 1
        say(report)
    taker.flush()
    with tempfile.TemporaryDirectory(prefix="evenrun-fuzz-") as folder:
        reader = FileJudge(report, Path(folder))
        while report.cases < cases:
            _drive(files.cases, lambda case: reader.take(*case), min(PART, cases - report.cases), number)
            number += 1
            say(report)
    return report


def _drive(strategy: st.SearchStrategy[Any], take: Callable[[Any], None], count: int, seed: int) -> None:
    """Let hypothesis make so many cases; failures are noted by `take`, none is raised."""

    @seeded(seed)
    @settings(
        max_examples=count, deadline=None, database=None, phases=[Phase.generate],
        suppress_health_check=list(HealthCheck), verbosity=Verbosity.quiet,
    )
    @given(strategy)
    def one(case: Any) -> None:
        take(case)

    with warnings.catch_warnings():
        warnings.simplefilter("ignore", HypothesisWarning)
        one()
