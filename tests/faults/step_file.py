"""Names the environment variable through which a test steps the clock of a collector, see `stepped_clock`."""

from __future__ import annotations

STEP_FILE = "STEP_FILE"
