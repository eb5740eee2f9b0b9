"""What may be wrong with a press, its material or its people; the usual values are those of a sound shift."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Health:
    """Condition of everything that nobody sets.

    Attributes
    ----------
    viscosity_factor, shrink_factor : float
        Of the lot in the screw, against the usual lot.
    core_flow_share, cavity_flow_share : float
        Coolant flow of each half's circuit against nominal.
    ring_leak_mm : float
        Screw travel lost past the check ring in one shot.
    ring_miss_rate : float
        Chance that the ring does not seat in a shot (a few in ten thousand are usual; common practice).
    cut_s : float
        Mean by which a person opens the gate before the cooling timer has run out; 0 leaves it to the timer.
    pace_spread : float
        Spread of mold-open time in log units when a person paces the press; 0 is machine-paced.
    """

    viscosity_factor: float = 1.0
    shrink_factor: float = 1.0
    core_flow_share: float = 1.0
    cavity_flow_share: float = 1.0
    ring_leak_mm: float = 0.0
    ring_miss_rate: float = 1e-4
    cut_s: float = 0.0
    pace_spread: float = 0.0


SOUND = Health()
