"""The fault suite by one command.

    python -m tests.faults [--long] [--only NAME] [--database sqlite|postgresql] [--seed N]
                           [--shots N] [--times N]

The short form is what the tests run, the long one has more shots and more faults a case. Prints a line a
case; ends with code 1 when a shot was lost, doubled or bent, or a signal differs from the whole-array form.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from contextlib import ExitStack
from pathlib import Path

from tests import postgres_cluster
from tests.faults.faults import FAULTS
from tests.faults.floor import Size
from tests.faults.stores import can_mount
from tests.faults.suite import Outcome, run_case

SHORT = Size(shots=500, rate_per_s=150, times=2)
LONG = Size(shots=2_500, rate_per_s=250, times=5)
HEAD = f"{'fault':32}{'database':11}{'faults':>7}{'shots':>7}{'lost':>6}{'in gaps':>8}{'doubled':>8}" \
       f"{'bent':>6}{'signals':>9}{'differ':>7}{'s':>7}"


def main() -> int:
    """Run the cases and print; the exit code."""
    formatter = argparse.RawDescriptionHelpFormatter
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=formatter)
    parser.add_argument("--long", action="store_true")
    parser.add_argument("--only", choices=FAULTS)
    parser.add_argument("--database", choices=("sqlite", "postgresql"))
    parser.add_argument("--seed", type=int, default=20)
    parser.add_argument("--shots", type=int, help="of each press")
    parser.add_argument("--times", type=int, help="how often a fault is put in")
    asked = parser.parse_args()
    form = LONG if asked.long else SHORT
    size = Size(asked.shots or form.shots, form.rate_per_s, asked.times or form.times)
    mountable, outcomes, wrong = can_mount(), [], 0
    print(HEAD, flush=True)
    with ExitStack() as closing:
        cluster_url: str | None = None
        for name, fault in FAULTS.items():
            if asked.only not in (None, name):
                continue
            for kind in fault.databases:
                if asked.database not in (None, kind):
                    continue
                if fault.needs_mount and not mountable:
                    print(f"{fault.what:32}{kind:11} skipped: no small disk can be mounted here")
                    continue
                if kind == "postgresql" and cluster_url is None:
                    cluster_url = closing.enter_context(postgres_cluster.cluster(durable=True))
                folder = Path(closing.enter_context(tempfile.TemporaryDirectory(prefix="evenrun-fault-")))
                outcome = run_case(
                    fault, kind, seed=asked.seed, size=size, cluster_url=cluster_url, folder=folder,
                )
                print(_line(fault.what, kind, outcome), flush=True)
                for mistake in (*outcome.mistakes(), *outcome.wrong_signals[:5]):
                    print(f"    {mistake}", flush=True)
                outcomes.append(outcome)
                wrong += bool(outcome.mistakes())
    _say_sum(outcomes)
    return 1 if wrong else 0


def _line(what: str, kind: str, found: Outcome) -> str:
    return (
        f"{what:32}{kind:11}{found.injected:7}{found.sent:7}{found.lost:6}{found.in_gaps:8}{found.doubled:8}"
        f"{found.bent:6}{found.signals:9}{len(found.wrong_signals):7}{found.took_s:7.0f}"
    )


def _say_sum(outcomes: list[Outcome]) -> None:
    total = {
        name: sum(getattr(each, name) for each in outcomes)
        for name in ("injected", "sent", "lost", "in_gaps", "doubled", "bent", "signals")
    }
    differ = sum(len(each.wrong_signals) for each in outcomes)
    print(
        f"{len(outcomes)} cases: {total['injected']} faults, {total['sent']} shots sent, "
        f"{total['lost']} lost, "
        f"{total['in_gaps']} in gaps that are listed, {total['doubled']} doubled, {total['bent']} bent, "
        f"{total['signals']} signals equal to the whole-array form, {differ} not"
    )


if __name__ == "__main__":
    sys.exit(main())
