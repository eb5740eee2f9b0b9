"""What is proposed for a machine whose temperature wanders, and what that does over eleven weeks.

Run `EVENRUN_OUTSIDE=... python tests/benchmarks/bench_wandering.py`. The study and the limits come from the
first week alone, before the first known event; nothing in them is fitted to the events. Goals: a plain chart
is refused; at most two alarms before 10 December 2013; the failures of 16 December and 8 February are seen.
"""

from __future__ import annotations

import os
import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
from wandering_machine import (
    BASELINE_DAYS,
    FLOOR,
    QUIET,
    READINGS_PER_DAY,
    Machine,
    Outcome,
    outcome,
    plain,
    read,
    signals,
)

from rules.baseline import Proposal, propose_charts, study


def line(label: str, found: Outcome) -> str:
    """One row of a table."""
    seen = " ".join("yes" if each else "no " for each in found.seen)
    return (
        f"{label:<44}{len(found.episodes):>7}{found.before_tenth:>8}   {seen}{len(found.outside):>9}"
        f"{100 * found.signaling:>12.2f} %"
    )


HEAD = f"{'':<44}{'alarms':>7}{'<10 Dec':>8}   {'event 1 to 4':<15}{'outside':>8}{'out of limits':>14}"


def first_days(machine: Machine, days: int) -> np.ndarray:
    """The readings of the first days."""
    return machine.values[: days * READINGS_PER_DAY]


def explain(machine: Machine) -> Proposal:
    """Print what the study of the first week says."""
    values = first_days(machine, BASELINE_DAYS)
    began = time.perf_counter()
    found = study(values)
    took = time.perf_counter() - began
    made = propose_charts(values, FLOOR)
    print(f"Study of the first {BASELINE_DAYS} days ({len(values):,} readings, {1000 * took:.0f} ms):")
    for note in found.notes[:6]:
        print(f"  {note}")
    print(f"Proposed: {made.kind}, {made.standing}. {made.why}\n  {made.confirm}")
    for planned in made.charts:
        print(f"  {planned.name} {planned.parameters}")
    return made


def compare(machine: Machine, made: Proposal) -> None:
    """Print the alarms of the proposal, of its parts and of a plain chart."""
    print(f"\nAn alarm lasts until {QUIET} readings in a row are inside; 'outside': of all windows.\n{HEAD}")
    whole = outcome(machine, signals(made.charts, machine.values))
    print(line("proposed: band and step limit", whole))
    for planned in made.charts:
        alone = outcome(machine, signals([planned], machine.values))
        print(line(f"  {planned.name} alone", alone))
    textbook = plain(study(first_days(machine, BASELINE_DAYS)))
    print(
        line("plain three sigma, individuals and range", outcome(machine, signals(textbook, machine.values)))
    )
    print(
        line("plain three sigma, individuals alone", outcome(machine, signals(textbook[:1], machine.values)))
    )
    print("\nAlarms of the proposal outside of all windows:")
    for first, last in whole.outside:
        print(f"  {first:%d %b %Y %H:%M} to {last:%d %b %H:%M}")


def vary(machine: Machine) -> None:
    """Print how much the outcome hangs on each constant."""
    print(f"\nHow much the outcome hangs on the constants\n{HEAD}")
    for days in (3, 4, 5, 6, 7):
        made = propose_charts(first_days(machine, days), FLOOR)
        label = f"baseline of {days} days"
        if not made.charts:
            print(f"{label:<44} {made.why}")
            continue
        label += f": {made.band.lower:.0f} to {made.band.upper:.0f}"
        print(line(label, outcome(machine, signals(made.charts, machine.values))))
    for characteristics in (1, 3, 10, 30, 100):
        floor = replace(FLOOR, characteristics=characteristics)
        made = propose_charts(first_days(machine, BASELINE_DAYS), floor)
        label = f"one false alarm in {characteristics} days: {made.band.lower:.0f} to {made.band.upper:.0f}"
        print(line(label, outcome(machine, signals(made.charts, machine.values))))
    met = signals(propose_charts(first_days(machine, BASELINE_DAYS), FLOOR).charts, machine.values)
    for quiet in (1, 6, 20, 72):
        print(line(f"an alarm ends after {quiet} readings", outcome(machine, met, quiet=quiet)))


def main() -> None:
    """Print the study, the comparison, and the sensitivity."""
    folder = os.environ.get("EVENRUN_OUTSIDE")
    if not folder:
        sys.exit("Set EVENRUN_OUTSIDE to the folder that holds data/machine-temperature.")
    machine = read(Path(folder))
    made = explain(machine)
    compare(machine, made)
    vary(machine)


if __name__ == "__main__":
    main()
