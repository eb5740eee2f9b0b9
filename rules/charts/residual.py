"""Residual: has an autocorrelated characteristic moved in a way that its own memory does not explain?

References
----------
Alwan, L. C. and Roberts, H. V. (1988). Time-series modeling for statistical process control. J. Business &
Economic Statistics 6, 87-95.
ISO 7870-9:2020, Control charts - Part 9: Control charts for stationary processes (residual charts).
Wardell, D. G., Moskowitz, H. and Plante, R. D. (1994). Run-length distributions of special-cause control
charts for correlated processes. Technometrics 36, 3-17 (what a residual chart forgets).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, ClassVar

from numpy.typing import ArrayLike

from rules.charts.chart import Chart, Point, Track
from rules.charts.cusum import CusumChart
from rules.charts.individuals import IndividualsChart
from rules.charts.inner import build_inner, chosen_parameters, load_inner
from rules.charts.record import Record, finite, positive, series
from rules.charts.whitening import Predecessor, Whitening
from rules.limits import Limits

__all__ = ["ResidualChart", "ResidualState"]


@dataclass(frozen=True, slots=True)
class ResidualState:
    """The last known deviation, how many shots before the next one it was, and the inner chart's state."""

    deviation: float | None
    shots_back: int
    inner: Any


@dataclass(frozen=True, slots=True)
class ResidualChart(Record[ResidualState]):
    """A chart for independent values, of the whitened residuals of a first-order autoregression.

    The first value becomes ``(x - center) / sigma``; one whose last known predecessor is ``m`` shots back
    becomes ``(d - phi^m d_before) / (sigma sqrt(1 - phi^(2 m)))`` with ``d = x - center``. While the process
    is as described these are independent N(0, 1), and the inner chart has the run length it is known for.

    An individuals chart of residuals forgets a lasting shift: the whole of it shows in the first residual
    only, after that ``1 - phi`` of it. A CUSUM or EWMA of residuals adds that rest up; tune it to
    :meth:`Whitening.lasting_mean <rules.charts.whitening.Whitening.lasting_mean>`.

    Parameters
    ----------
    center, sigma : float
        Level and total standard deviation of the values, in their unit; ``sigma`` above zero. Sigma from
        moving ranges is not it: they see only ``sqrt(1 - phi)`` of it.
    phi : float
        Autocorrelation at lag 1, above -1 and below 1; 0 leaves the values independent.
    chart : str
        A key of :data:`rules.charts.inner.INNER_CHARTS`.
    chart_parameters : mapping
        Parameters of the inner chart but for those in a unit (center, sigma, minimum shift); those left out
        keep their defaults.
    minimum_shift : float
        Engineering minimum of a lasting shift, in the unit of the values. A CUSUM gets the residual mean of
        such a shift, an individuals chart the residual of the value that first shows it; others take none.

    Raises
    ------
    ValueError
        If a parameter is out of range, or the inner chart cannot be built.
    """

    center: float
    sigma: float
    phi: float
    chart: str = CusumChart.name
    chart_parameters: Mapping[str, Any] = field(default_factory=dict, hash=False)
    minimum_shift: float = 0.0
    inner: Chart[Any] = field(init=False, repr=False, compare=False)

    name: ClassVar[str] = "residual"
    state_type: ClassVar[type[ResidualState]] = ResidualState

    def __post_init__(self) -> None:
        """Check the parameters and build the inner chart."""
        finite(self.name, "center", self.center)
        positive(self.name, "sigma", self.sigma)
        if not -1 < self.phi < 1:
            raise ValueError(
                f"The phi of the {self.name} chart is {self.phi}; give a number above -1 and below 1."
            )
        if not (math.isfinite(self.minimum_shift) and self.minimum_shift >= 0):
            raise ValueError(
                f"The minimum_shift of the {self.name} chart is {self.minimum_shift}; give 0 or more."
            )
        inner = build_inner(self.name, self.chart, self.chart_parameters, minimum_shift=self._inner_minimum())
        object.__setattr__(self, "inner", inner)
        object.__setattr__(self, "chart_parameters", chosen_parameters(inner))

    def _inner_minimum(self) -> float:
        """Return the minimum shift as the inner chart meets it, in standard deviations of a residual."""
        lasting = self.whitening().lasting_mean(self.minimum_shift)
        if self.chart != IndividualsChart.name:
            return lasting
        return max(lasting, lasting / (1.0 - self.phi))

    def whitening(self) -> Whitening:
        """Return the model that makes the values independent."""
        return Whitening(self.center, self.sigma, self.phi)

    def start(self) -> ResidualState:
        """Return the state before the first value."""
        return ResidualState(None, 0, self.inner.start())

    def step(self, state: ResidualState, x: float) -> tuple[ResidualState, Point]:
        """Take one value; the point is the inner chart's, in standard deviations of a residual."""
        before, white = self.whitening().step(Predecessor(state.deviation, state.shots_back), x)
        inner, point = self.inner.step(state.inner, white)
        return ResidualState(before.deviation, before.shots_back, inner), point

    def run(self, x: ArrayLike, state: ResidualState | None = None) -> tuple[ResidualState, Track]:
        """Take many values."""
        held = state or self.start()
        before, white = self.whitening().run(series(x), Predecessor(held.deviation, held.shots_back))
        inner, track = self.inner.run(white, held.inner)
        return ResidualState(before.deviation, before.shots_back, inner), track

    def limits(self) -> Limits | None:
        """Return the lines of the inner chart, in standard deviations of a residual."""
        return self.inner.limits()

    def parameters(self) -> dict[str, object]:
        """Return the parameters as a dictionary that JSON can carry; the inner chart's have their own."""
        return {
            "center": self.center,
            "sigma": self.sigma,
            "phi": self.phi,
            "chart": self.chart,
            "chart_parameters": dict(self.chart_parameters),
            "minimum_shift": self.minimum_shift,
        }

    def dump_state(self, state: ResidualState) -> dict[str, Any]:
        """Return the state with that of the inner chart, dumped with its own version, inside."""
        own = super(ResidualChart, self).dump_state(state)
        return {**own, "inner": self.inner.dump_state(state.inner)}

    def load_state(self, dumped: dict[str, Any]) -> ResidualState:
        """Rebuild a state; ValueError if a newer release wrote it or it belongs to another chart."""
        state = super(ResidualChart, self).load_state(dumped)
        inner = load_inner(self.name, self.inner, state.inner)
        return ResidualState(state.deviation, state.shots_back, inner)
