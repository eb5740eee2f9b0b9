"""What is proposed for a characteristic: the charts to build, why, their cost, what a person must confirm.

A record of our own; no source.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from rules.baseline.band import Band
from rules.baseline.studied import Study
from rules.baseline.widening import Widening
from rules.charts import make
from rules.charts.chart import Chart

__all__ = ["KINDS", "PlannedChart", "Proposal"]

KINDS = ("values", "setting", "counts", "deviation", "band", "none")


@dataclass(frozen=True, slots=True)
class PlannedChart:
    """A chart by its name and parameters, as :func:`rules.charts.make` takes them."""

    name: str
    parameters: dict[str, Any]

    def make(self) -> Chart[Any]:
        """Build the chart."""
        return make(self.name, self.parameters)


@dataclass(frozen=True, slots=True)
class Proposal:
    """A chart plan for one characteristic.

    Parameters
    ----------
    kind : str
        One of ``KINDS``: charts of the values; watched for change; counts; deviation from setpoint, or a band
        without one, for a characteristic that wanders; or nothing yet.
    charts : tuple of PlannedChart
        What to build; empty where nothing can be proposed yet.
    why : str
        One sentence.
    confirm : str
        What a person must confirm against the process; empty where the data say enough.
    standing : str
        ``"provisional"``, ``"usable"`` or ``"firm"``; a suggested band is provisional until it is confirmed.
    false_alarms_per_shift : float or None
        Of this characteristic, in 8 h; None where no rate can be given.
    delay : dict of float to float
        Mean number of shots to the first signal after a lasting shift of so many sigma, 0.5, 1, 2 and 3 and,
        where the smallest that matters is more than 0.5, once and twice that, of a process that is known;
        empty where none can be given.
    widening : Widening or None
        What it costs that the limits rest on estimates.
    study : Study or None
        What the proposal rests on.
    band : Band or None
        The suggestion for a characteristic that wanders.
    """

    kind: str
    charts: tuple[PlannedChart, ...]
    why: str
    confirm: str = ""
    standing: str = "provisional"
    false_alarms_per_shift: float | None = None
    delay: Mapping[float, float] = field(default_factory=dict)
    widening: Widening | None = None
    study: Study | None = None
    band: Band | None = None
