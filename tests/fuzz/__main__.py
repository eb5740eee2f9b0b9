"""Payloads and CSV fragments that nobody would send, by one command.

    python -m tests.fuzz [--cases 200000] [--seed 20]

Three in four go as MQTT messages through the whole pipeline into a store in memory, one in four is a file
that is read with a profile (and one in sixteen is proposed one). Fails on anything that is raised, that takes
too long, that reads well and cannot be stored, or that is refused without reason, detail, remedy and bytes.
"""

from __future__ import annotations

import argparse
import logging
import sys
import time

from tests.fuzz.judge import Report
from tests.fuzz.run import fuzz


def main() -> int:
    """Run and print; 1 when anything failed."""
    formatter = argparse.RawDescriptionHelpFormatter
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=formatter)
    parser.add_argument("--cases", type=int, default=200_000)
    parser.add_argument("--seed", type=int, default=20)
    asked = parser.parse_args()
    logging.disable(logging.CRITICAL)
    began = time.monotonic()

    def say(report: Report) -> None:
        sys.stderr.write(f"{report.cases} cases, {report.failed} failed, {time.monotonic() - began:.0f} s\n")

    report = fuzz(asked.cases, asked.seed, say)
    took_s = time.monotonic() - began
    print(f"{report.cases} cases (seed {asked.seed}) in {took_s:.0f} s, {report.failed} failed")
    for outcome, count in report.outcomes.most_common():
        print(f"  {outcome:32}{count:9}")
    for failure in report.failures:
        print(failure)
    return 1 if report.failed else 0


if __name__ == "__main__":
    sys.exit(main())
