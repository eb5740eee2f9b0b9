"""Score the service on simulated presses whose truth is known: ``python -m simulator.bench``.

Every story runs through the real pipeline with its charts, alarms and holds, in process and with a store in
memory; the truth is looked at only afterwards. `simulator.score` states the definitions.
"""

from __future__ import annotations

import json
import os
import time
from collections.abc import Sequence
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from typing import Annotated, Any

import typer
from rich.console import Console

from collector.errors import UserError
from collector.settings import Settings, load_settings
from simulator.scenarios import SCENARIOS
from simulator.score import Score, judge
from simulator.score_figures import GOALS, Figures, figures, unseen
from simulator.score_pool import Task, each, run
from simulator.score_table import WIDTH, show
from simulator.score_truth import account
from simulator.score_watch import watch

MONDAY = datetime(2026, 11, 16, tzinfo=UTC)
SEEDS, QUICK_SEEDS = 10, 5
# A few minutes' worth: one press each, every family of faults, and a sound one.
QUICK = (
    "wandering_ring",
    "fault_day_and_night",
    "fault_lot_change",
    "fault_wet_resin",
    "fault_leaking_nozzle",
    "fault_stuck_contactor",
    "fault_blocked_coolant_core",
    "fault_one_half_warm",
    "fault_early_gate",
    "fault_stuck_sensor",
)


def bench(
    quick: Annotated[bool, typer.Option("--quick", help="Ten scenarios, five seeds each.")] = False,  # noqa: FBT002
    json_file: Annotated[Path | None, typer.Option("--json", help="Write all figures to this file.")] = None,
    seeds: Annotated[int | None, typer.Option(min=1, help="Seeds a scenario; 10, or 5 with --quick.")] = None,
    scenario: Annotated[list[str] | None, typer.Option(help="Only this one; may be given again.")] = None,
    jobs: Annotated[int, typer.Option(min=1, help="Processes at work.")] = os.cpu_count() or 1,
) -> None:
    """Score charts, alarms and holds on simulated presses whose truth is known."""
    names = _names(scenario, quick=quick)
    many = seeds if seeds is not None else QUICK_SEEDS if quick else SEEDS
    began = time.monotonic()
    scores = scored([(name, seed) for seed in range(1, many + 1) for name in names], load_settings(), jobs)
    show(Console(width=WIDTH), scores)
    typer.echo(f"{len(scores)} stories in {time.monotonic() - began:.0f} s with {jobs} processes.", err=True)
    if json_file is not None:
        json_file.write_text(json.dumps(to_json(scores), indent=1) + "\n", encoding="utf-8")


def scored(tasks: list[Task], settings: Settings, jobs: int) -> list[Score]:
    """Score many stories, in the order asked for.

    Parameters
    ----------
    tasks : list of (str, int)
        Scenario and seed.
    settings : Settings
        Of the service; its database is not used.
    jobs : int
        Processes; 1 stays in this one.

    Returns
    -------
    list of Score
    """
    found = dict(each(partial(score_one, settings=settings), tasks, jobs))
    return [found[task] for task in tasks]


def score_one(task: Task, settings: Settings) -> Score:
    """Tell one story, let the service take it in, and judge."""
    name, seed = task
    story = SCENARIOS[name](seed, MONDAY)
    watched = watch(story, settings)
    return judge(name, seed, account(story), watched)


def to_json(scores: list[Score]) -> dict[str, Any]:
    """Everything as JSON types: figures of all and of every scenario, goals, and each story's score."""
    names = dict.fromkeys(score.scenario for score in scores)
    total = figures(scores)
    return {
        "all": _json(total),
        "goals": [
            {
                "goal": goal.says, "bound": goal.bound, "at_least": goal.at_least,
                "met": goal.met(total[goal.figure]),
            }
            for goal in GOALS
        ],
        "no_telemetry_shows": {
            fault: {"instances": hidden, "with_discs_out": out, "of": every}
            for fault, (hidden, out, every) in unseen(scores).items()
        },
        "scenarios": {
            name: _json(figures([score for score in scores if score.scenario == name])) for name in names
        },
        "stories": [score.to_json() for score in scores],
    }


def _json(found: Figures) -> dict[str, Any]:
    return {name: each.to_json() for name, each in found.items()}


def _names(asked: list[str] | None, *, quick: bool) -> list[str]:
    if not asked:
        return list(QUICK if quick else SCENARIOS)
    for name in asked:
        if name not in SCENARIOS:
            raise UserError(f"there is no scenario {name!r}; take one of {', '.join(SCENARIOS)}")
    return asked


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the command; a mistake of the user is one sentence."""
    run(bench, arguments)


if __name__ == "__main__":
    main()
