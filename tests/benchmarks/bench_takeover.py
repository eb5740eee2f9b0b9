"""How soon another collector has the presses of one that is killed, or stands still, under load.

    python tests/benchmarks/bench_takeover.py [--shots 60000] [--rate 2000]

Two collectors on one PostgreSQL work off what a real Mosquitto hands them, eight presses with ten
characteristics a shot. One is killed (SIGKILL) and a new one started; later the other is made to stand still
(SIGSTOP) until its presses are in other hands, and wakes up (SIGCONT). Prints the times, what was lost or
doubled, and whether the signals equal those of the whole-array form. The goal is 5 s from the kill to the
first shot in other hands.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from pathlib import Path

sys.path[:0] = [str(Path(__file__).parents[2])]
from tests import postgres_cluster  # noqa: E402
from tests.faults.takeover import Report, take_over  # noqa: E402
from tests.mosquitto_fixtures import new_broker  # noqa: E402


def main() -> None:
    """Run it and print."""
    formatter = argparse.RawDescriptionHelpFormatter
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=formatter)
    parser.add_argument("--shots", type=int, default=60_000)
    parser.add_argument("--rate", type=float, default=2_000.0)
    wanted = parser.parse_args()
    with tempfile.TemporaryDirectory() as name, postgres_cluster.cluster(durable=True) as url:
        broker = new_broker(Path(name))
        broker.start()
        try:
            seen = take_over(Path(name), broker, url, count=wanted.shots, rate_per_s=wanted.rate)
        finally:
            broker.stop()
    show(seen)


def show(seen: Report) -> None:
    """Print what was seen."""
    print(f"sent {seen.sent}, stored {seen.stored}, lost {seen.lost}, doubled {seen.doubled}, "
          f"refused {seen.refused}")
    print(f"stored a second, two takeovers among them  {seen.rate_per_s:8.0f}")
    print(f"most shots published and not stored yet    {seen.backlog:8d}")
    print(f"killed: lease in other hands after         {seen.killed_s:8.2f} s")
    print(f"        first shot in other hands after    {seen.killed_shot_s:8.2f} s   (goal: 5 s or less)")
    print(f"stood still: lease in other hands after    {seen.paused_s:8.2f} s")
    print(f"        first shot in other hands after    {seen.paused_shot_s:8.2f} s")
    print(f"signals that equal the whole-array form    {seen.compared:8d}, others {len(seen.differences)}")


if __name__ == "__main__":
    main()
