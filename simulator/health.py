"""What may be wrong with a press, its material or its people; the usual values are those of a sound shift.

Every field is neutral by default and acts on the physics; what a press reports follows from there. Fields of
a zone are tuples from the hopper to the screw tip, with the nozzle last.
"""

from dataclasses import dataclass

from simulator.materials import DRY_PERCENT
from simulator.plant import ZONES

HEATERS = ZONES + 1  # the nozzle has its own
USUAL_OIL_C = 45.0

PerZone = tuple[float, ...]
ALL_ONE: PerZone = (1.0,) * HEATERS
ALL_ZERO: PerZone = (0.0,) * HEATERS


@dataclass(frozen=True, slots=True, kw_only=True)
class Health:
    """Condition of everything that nobody sets.

    Attributes
    ----------
    viscosity_factor, shrink_factor : float
        Of the lot in the screw, against the usual lot.
    moisture_percent : float
        Of the resin drawn in; above `DRY_PERCENT` a urethane gets thinner, makes bubbles and shrinks more.
    mix_spread : float
        Spread of the mix (regrind, contamination) against the usual one.
    slip_factor : float
        Recovery time against the usual, by how pellets and colorant slide in the screw.
    heater_power_share : tuple of float
        Of each heater against its full power; 0 is an open band.
    heater_least_duty : tuple of float
        Share of full power that the controller cannot go below; 1 is a contactor stuck on.
    thermocouple_error_k : tuple of float
        Reading less truth; the controller believes the reading.
    ring_leak_mm : float
        Screw travel lost past the check ring in one shot.
    ring_miss_rate : float
        Chance that the ring does not seat in a shot (a few in ten thousand are usual; common practice).
    nozzle_leak_cm3 : float
        Melt that comes out between nozzle and sprue in one shot.
    screw_wear : float
        0 is new; 1 conveys a third less and unevenly.
    back_pressure_share : float
        Of the back pressure that is set.
    feed_share : float
        Of the pellets that the screw could draw in; near 0 the throat is bridged or the hopper empty.
    pump_share : float
        What the pump can give against new: pressure, speed and how little it slips.
    oil_c : float
        Temperature of the hydraulic oil; hotter than usual it slips more.
    core_flow_share, cavity_flow_share : float
        Coolant flow of each half's circuit against nominal.
    core_supply_k, cavity_supply_k : float
        By how much warmer than the manifold one half's own circuit is supplied.
    chiller_share : float
        Heat that the chiller can take away against new.
    vent_share : float
        Open part of the vents.
    clamp_share : float
        Of the clamp force that is set.
    parting_gap_mm : float
        By which dirt or damage keeps the parting line open.
    cut_s : float
        Mean by which a person opens the gate before the cooling timer has run out; 0 leaves it to the timer.
    pace_spread : float
        Spread of mold-open time in log units when a person paces the press; 0 is machine-paced.
    pace_factor : float
        Mold-open time against the usual.
    robot_delay_s : float
        Mean wait with the mold still closed for a robot or stripper that is late.
    """

    viscosity_factor: float = 1.0
    shrink_factor: float = 1.0
    moisture_percent: float = DRY_PERCENT
    mix_spread: float = 1.0
    slip_factor: float = 1.0
    heater_power_share: PerZone = ALL_ONE
    heater_least_duty: PerZone = ALL_ZERO
    thermocouple_error_k: PerZone = ALL_ZERO
    ring_leak_mm: float = 0.0
    ring_miss_rate: float = 1e-4
    nozzle_leak_cm3: float = 0.0
    screw_wear: float = 0.0
    back_pressure_share: float = 1.0
    feed_share: float = 1.0
    pump_share: float = 1.0
    oil_c: float = USUAL_OIL_C
    core_flow_share: float = 1.0
    cavity_flow_share: float = 1.0
    core_supply_k: float = 0.0
    cavity_supply_k: float = 0.0
    chiller_share: float = 1.0
    vent_share: float = 1.0
    clamp_share: float = 1.0
    parting_gap_mm: float = 0.0
    cut_s: float = 0.0
    pace_spread: float = 0.0
    pace_factor: float = 1.0
    robot_delay_s: float = 0.0

    @property
    def pump_strength(self) -> float:
        """Pump wear and hot oil together; hot oil slips by half a percent a kelvin (assumed)."""
        return self.pump_share * (1.0 - 0.005 * max(self.oil_c - USUAL_OIL_C, 0.0))


SOUND = Health()
