"""Which cause is named for which fault? ``python -m simulator.confusion``.

Every fault of the trade's table in varied instances, one press and one fault a story, through the real
service; then the true row of the table against the rows that the alarm names.

Definitions
-----------
The alarm of a fault: the first that told people something at a shot that the fault touched, or within 24
shots after the last one; whatever it was raised by, a false one by chance too.

Named: the true row is the first of the alarm's causes, or among its first three. By group: that row, or one
that the fault table says telemetry cannot tell from it.

Told apart: for a fault of the data, that alarm is one of the data, or names the sensor or gateway first once
that is known; for any other, that it does neither.
"""

from __future__ import annotations

import json
import os
import time
from collections.abc import Sequence
from dataclasses import asdict
from functools import partial
from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console

from collector.errors import UserError
from collector.settings import Settings, load_settings
from simulator.bench import MONDAY
from simulator.confusion_figures import Named, figures, matrix
from simulator.confusion_table import show
from simulator.faults import FAULTS
from simulator.scenarios import one_fault
from simulator.score import LATEST_AFTER
from simulator.score_alarms import Raised
from simulator.score_pool import Task, each, run
from simulator.score_truth import Matter, account
from simulator.score_watch import watch

SEEDS = 5
SHOTS = 450  # of the run; what grows over hours is seen to grow


def confusion(
    seeds: Annotated[int, typer.Option(min=1, help="Instances of each fault.")] = SEEDS,
    json_file: Annotated[Path | None, typer.Option("--json", help="Write everything to this file.")] = None,
    fault: Annotated[list[str] | None, typer.Option(help="Only this one; may be given again.")] = None,
    shots: Annotated[int, typer.Option(min=200, help="Length of each run.")] = SHOTS,
    jobs: Annotated[int, typer.Option(min=1, help="Processes at work.")] = os.cpu_count() or 1,
) -> None:
    """Hold the causes that alarms name against the faults that were at work."""
    names = fault or list(FAULTS)
    for name in names:
        if name not in FAULTS:
            raise UserError(f"there is no fault {name!r}; take one of {', '.join(FAULTS)}")
    began = time.monotonic()
    tasks = [(name, seed) for name in names for seed in range(1, seeds + 1)]
    found = named(tasks, load_settings(), shots=shots, jobs=jobs)
    show(Console(width=150), found)
    typer.echo(f"{len(tasks)} stories in {time.monotonic() - began:.0f} s with {jobs} processes.", err=True)
    if json_file is not None:
        json_file.write_text(json.dumps(to_json(found), indent=1) + "\n", encoding="utf-8")


def named(tasks: Sequence[Task], settings: Settings, *, shots: int, jobs: int) -> list[Named]:
    """What was named in many stories, in the order asked for."""
    done = dict(each(partial(name_one, settings=settings, shots=shots), tasks, jobs))
    return [done[task] for task in tasks]


def name_one(task: Task, settings: Settings, shots: int) -> Named:
    """Tell one story, let the service take it in, and see what it named."""
    fault, seed = task
    story = one_fault(fault, seed, MONDAY, shots=shots)
    watched = watch(story, settings)
    matters = account(story).matters
    variant = story.episodes[0].case.variant
    if not matters:  # ordinary, or it touched no shot
        return Named(fault=fault, seed=seed, row=FAULTS[fault].row, variant=variant)
    (matter,) = matters
    alarm = alarm_of(matter, watched.alarms)
    return Named(
        fault=fault, seed=seed, row=FAULTS[fault].row, variant=variant, of_messages=matter.of_messages,
        shown=bool(matter.shown_by), touched=True, alarm=None if alarm is None else alarm.kind,
        headline="" if alarm is None else alarm.headline, causes=() if alarm is None else alarm.causes,
    )  # fmt: skip


def alarm_of(matter: Matter, alarms: Sequence[Raised]) -> Raised | None:
    """The alarm of a fault; of two at the same shot the one that opened first."""
    calls = [
        (call.shot, number)
        for number, alarm in enumerate(alarms)
        if alarm.press == matter.press
        for call in alarm.calls
        if matter.first <= call.shot <= matter.last + LATEST_AFTER
    ]
    return alarms[min(calls)[1]] if calls else None


def to_json(found: Sequence[Named]) -> dict[str, object]:
    """Figures, matrix and every instance as JSON types."""
    return {
        "figures": {name: each.to_json() for name, each in figures(found).items()},
        "first_named": {
            str(row): {str(told): count for told, count in sorted(told.items(), key=str)}
            for row, told in matrix(found).items()
        },
        "instances": [asdict(each) for each in found],
    }


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the command; a mistake of the user is one sentence."""
    run(confusion, arguments)


if __name__ == "__main__":
    main()
