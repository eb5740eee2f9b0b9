"""What a person confirms of proposed limits: the suggestion as it is, or numbers of their own."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from collector.contract import quantities
from collector.errors import NotAllowed
from collector.plan import KeyLimits
from rules.charts import EngineeringLimitsChart

USABLE = "usable"


@dataclass(frozen=True, slots=True, kw_only=True)
class Confirmed:
    """What a person confirmed of one characteristic.

    Attributes
    ----------
    lower, upper : float, optional
        Engineering limits that the person entered, canonical unit; the suggested ones are accepted if not
        given. Only for a characteristic that gets such limits.
    """

    lower: float | None = None
    upper: float | None = None

    def to_json(self) -> dict[str, float] | bool:
        """For the journal: the numbers entered, or True where the suggestion was accepted."""
        if self.lower is None or self.upper is None:
            return True
        return {"lower": self.lower, "upper": self.upper}


def as_confirmed(made: KeyLimits, agreed: Confirmed, kind: str) -> KeyLimits:
    """Limits as a person confirmed them; those of a proposal of this kind may be what they entered."""
    made = replace(made, cost={**made.cost, "confirmed": agreed.to_json()})
    return within(replace(made, standing=USABLE), agreed) if kind in ("band", "deviation") else made


def within(made: KeyLimits, agreed: Confirmed) -> KeyLimits:
    """Limits with what a person entered in place of the suggestion; what that costs nobody computed.

    Raises
    ------
    NotAllowed
        The numbers entered are no limits.
    """
    if agreed.lower is None and agreed.upper is None:
        return made
    name = quantities.label(made.key)
    lower, upper = agreed.lower, agreed.upper
    if lower is None or upper is None or not (math.isfinite(lower) and lower < upper < math.inf):
        raise NotAllowed(
            f"limits of {name} from {lower} to {upper} are none; give a lower and a higher number"
        )
    center = made.baseline.center if lower < made.baseline.center < upper else None
    around = EngineeringLimitsChart(lower, upper, center)
    charts = tuple(around if isinstance(chart, EngineeringLimitsChart) else chart for chart in made.charts)
    kept = {name: entry for name, entry in made.cost.items() if name in ("study", "confirmed")}
    return replace(made, charts=charts, cost=kept)
