"""From the way a disc was molded to its dome, diameter and weight.

The plate is at mold temperature within seconds; the rim is still hot when the mold opens and goes on
shrinking around it. A plate that is too large for its rim bulges: a parabolic cap of height w in a rim of
radius a is longer than its chord by the strain (2/3) (w/a)**2, so w**2 = crown**2 + 1.5 * strain * a**2. A
difference between the two halves of the mold bends the plate by expansion * difference * a**2 / (2 h).

While the mold is closed the rim shrinks against the core and stores strain, which relaxes at once while hot
and hardly when cold; what shrank in the mold without being stored is lost for good, so that such a disc stays
larger.

Calibrated, not published: the factors in `Calibration`, and each blend's `shrink_factor`. They are chosen so
that dome is 2 to 4 mm, answers time in mold, pressure and speed in the direction and size known on the floor,
and after half an hour closed is what it was after two minutes or a little more (common practice, no source).

References
----------
Bending and stretching of plates: S. Timoshenko, S. Woinowsky-Krieger, Theory of Plates and Shells (1959),
chapters 2 and 13. The stretched exponential of recovery: R. Kohlrausch's law, as used for creep of polymers.
"""

import math
from dataclasses import dataclass
from functools import lru_cache

from simulator.cooling import plate_share, rim_share
from simulator.materials import Blend
from simulator.plant import Mold


@dataclass(frozen=True, slots=True, kw_only=True)
class Calibration:
    """The factors that no publication gives.

    Attributes
    ----------
    mismatch_share : float
        Part of the free rim/plate mismatch that is left after relaxation and elastic sharing.
    soft_per_k, usual_wall_c : float
        A warmer mold opens on a softer plate, which gives way to more of the mismatch: growth of that part
        by a kelvin, counted from the usual mold. Direction known on the floor, size chosen.
    held_share : float
        Part of the rim's shrinkage against the core that is stored as strain.
    relax_s, relax_at_c, relax_per_k : float
        Stored strain relaxes with tau = relax_s * exp((relax_at_c - T) / relax_per_k).
    half_share : float
        Part of the free plate's bending by a core-cavity difference that shows as dome.
    pack_mm_per_mpa, usual_pack_mpa : float
        Dome per pressure frozen into the disc, counted from the usual one.
    rate_mm, usual_fill_s : float
        Dome per e-fold of fill rate, counted from the usual fill time.
    mold_shrink, cooling_share, pack_strain_per_mpa, usual_rim_c : float
        Diameter: usual shrinkage of the first blend, part of the rim's free shrinkage after the mold that
        shows, growth by packing, and the rim temperature at opening that both are counted from.
    recovery_h, recovery_power : float
        Dome after the mold: crown to final with exp(-(t / recovery_h)**recovery_power).
    """

    mismatch_share: float = 0.06
    soft_per_k: float = 0.015
    usual_wall_c: float = 29.0
    held_share: float = 0.065
    relax_s: float = 20.0
    relax_at_c: float = 70.0
    relax_per_k: float = 3.0
    half_share: float = 0.8
    pack_mm_per_mpa: float = 0.02
    usual_pack_mpa: float = 26.0
    rate_mm: float = 0.30
    usual_fill_s: float = 2.0
    mold_shrink: float = 0.008
    cooling_share: float = 0.35
    pack_strain_per_mpa: float = 4e-5
    usual_rim_c: float = 105.0
    recovery_h: float = 4.0
    recovery_power: float = 0.6


CALIBRATION = Calibration()
SET_TIME_H = 24.0
WARM_SHARE = 0.4  # of the shrinkage after the mold, over within minutes; assumed
_STEP_S = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Molding:
    """What one shot did to its disc.

    Attributes
    ----------
    melt_c : float
        Temperature of the rim's melt at the end of fill, with shear heating.
    core_c, cavity_c : float
        Surface temperatures of the two halves.
    time_in_mold_s, fill_s : float
        Hold plus cooling; start of injection to switchover.
    pack_mpa : float
        Pressure frozen into the disc.
    weight_g : float
    shrink_factor : float
        Of the lot, against the usual one.
    """

    melt_c: float
    core_c: float
    cavity_c: float
    time_in_mold_s: float
    fill_s: float
    pack_mpa: float
    weight_g: float
    shrink_factor: float

    @property
    def wall_c(self) -> float:
        """Mean of the two halves."""
        return (self.core_c + self.cavity_c) / 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Disc:
    """A disc as a perfect gauge would find it: fresh from the mold, and after 24 h."""

    fresh_dome_mm: float
    fresh_diameter_mm: float
    dome_24h_mm: float
    diameter_24h_mm: float
    weight_g: float


@lru_cache(maxsize=256)
def _rim_shares(side_m: float, diffusivity_m2_s: float, steps: int) -> tuple[float, ...]:
    return tuple(
        rim_share(side_m=side_m, diffusivity_m2_s=diffusivity_m2_s, time_s=i * _STEP_S)
        for i in range(steps + 1)
    )


def rim_temperature_c(molding: Molding, mold: Mold, blend: Blend, *, time_s: float) -> float:
    """Mean temperature of the rim after a time in the closed mold."""
    share = rim_share(side_m=mold.path.rim_side_m, diffusivity_m2_s=blend.diffusivity_m2_s, time_s=time_s)
    return molding.wall_c + (molding.melt_c - molding.wall_c) * share


def plate_temperature_c(molding: Molding, mold: Mold, blend: Blend, *, time_s: float) -> float:
    """Mean temperature of the flight plate after a time in the closed mold."""
    share = plate_share(
        thickness_m=mold.path.plate_gap_m, diffusivity_m2_s=blend.diffusivity_m2_s, time_s=time_s
    )
    return molding.wall_c + (molding.melt_c - molding.wall_c) * share


def stored_strain(molding: Molding, mold: Mold, blend: Blend, by: Calibration = CALIBRATION) -> float:
    """Hoop strain that the core holds in the rim when the mold opens.

    d strain / dt = held_share * expansion * (-dT/dt) - strain / tau(T), solved step by step with T linear
    and tau constant in a step. Without it a disc left closed for half an hour would come out flat.
    """
    whole = int(molding.time_in_mold_s / _STEP_S)
    shares = [*_rim_shares(mold.path.rim_side_m, blend.diffusivity_m2_s, whole)]
    lengths = [_STEP_S] * whole
    rest_s = molding.time_in_mold_s - whole * _STEP_S
    if rest_s > 1e-6:
        lengths.append(rest_s)
        shares.append(
            rim_share(
                side_m=mold.path.rim_side_m,
                diffusivity_m2_s=blend.diffusivity_m2_s,
                time_s=molding.time_in_mold_s,
            )
        )
    return _relax(shares, lengths, molding, by) * blend.expansion_per_k


def _relax(shares: list[float], lengths: list[float], molding: Molding, by: Calibration) -> float:
    """Stored temperature fall in K: the strain per unit of expansion."""
    span_k, stored = molding.melt_c - molding.wall_c, 0.0
    for before, after, length_s in zip(shares[:-1], shares[1:], lengths, strict=True):
        middle_c = molding.wall_c + span_k * (before + after) / 2
        tau_s = by.relax_s * math.exp((by.relax_at_c - middle_c) / by.relax_per_k)
        kept = math.exp(-length_s / tau_s)
        rate = by.held_share * span_k * (before - after) / length_s
        stored = stored * kept + rate * tau_s * (1 - kept)
    return stored


def bulge_mm(*, crown_mm: float, strain: float, radius_mm: float) -> float:
    """Height of a parabolic cap whose plate is too large for its rim by `strain`."""
    return math.sqrt(max(crown_mm**2 + 1.5 * strain * radius_mm**2, 0.0))


def bend_mm(*, expansion_per_k: float, difference_k: float, radius_mm: float, thickness_mm: float) -> float:
    """Deflection of a free plate by a temperature difference between its faces; hot core counts positive."""
    return expansion_per_k * difference_k * radius_mm**2 / (2 * thickness_mm)


def dome_24h_mm(molding: Molding, mold: Mold, blend: Blend, by: Calibration = CALIBRATION) -> float:
    """Dome at the set time."""
    time_s = molding.time_in_mold_s
    difference_k = rim_temperature_c(molding, mold, blend, time_s=time_s) - plate_temperature_c(
        molding, mold, blend, time_s=time_s
    )
    share = by.mismatch_share * math.exp(by.soft_per_k * (molding.wall_c - by.usual_wall_c))
    strain = share * blend.expansion_per_k * difference_k + stored_strain(molding, mold, blend, by)
    radius_mm = mold.path.plate_radius_m * 1000
    base = bulge_mm(
        crown_mm=mold.crown_mm,
        strain=strain * blend.shrink_factor * molding.shrink_factor,
        radius_mm=radius_mm,
    )
    bend = by.half_share * bend_mm(
        expansion_per_k=blend.expansion_per_k,
        difference_k=molding.core_c - molding.cavity_c,
        radius_mm=radius_mm,
        thickness_mm=mold.path.plate_gap_m * 1000,
    )
    pack = by.pack_mm_per_mpa * (molding.pack_mpa - by.usual_pack_mpa)
    rate = by.rate_mm * math.log(by.usual_fill_s / molding.fill_s)
    return base + bend + pack + rate


def diameter_24h_mm(molding: Molding, mold: Mold, blend: Blend, by: Calibration = CALIBRATION) -> float:
    """Outside diameter at the set time: what shrinks after the mold is lost, what shrank inside was held."""
    rim_c = rim_temperature_c(molding, mold, blend, time_s=molding.time_in_mold_s)
    usual = by.mold_shrink * blend.shrink_factor * molding.shrink_factor
    later = by.cooling_share * blend.expansion_per_k * (rim_c - by.usual_rim_c)
    grown = by.pack_strain_per_mpa * (molding.pack_mpa - by.usual_pack_mpa)
    return mold.outer_diameter_mm * (1.0 - usual - later + grown)


def set_share(age_h: float, by: Calibration = CALIBRATION) -> float:
    """Part of the way from the crown to the final dome after `age_h`; 0 at the press, 1 in the end."""
    return 1.0 - math.exp(-((max(age_h, 0.0) / by.recovery_h) ** by.recovery_power))


def dome_at_mm(*, fresh_mm: float, final_24h_mm: float, age_h: float, by: Calibration = CALIBRATION) -> float:
    """Dome at another age, through the value at 24 h."""
    return fresh_mm + (final_24h_mm - fresh_mm) * set_share(age_h, by) / set_share(SET_TIME_H, by)


def diameter_at_mm(
    *, fresh_mm: float, final_24h_mm: float, age_h: float, by: Calibration = CALIBRATION
) -> float:
    """Diameter at another age: most of the shrinkage is over once the disc is cold, the rest recovers."""
    done, final = (WARM_SHARE + (1 - WARM_SHARE) * set_share(h, by) for h in (age_h, SET_TIME_H))
    return fresh_mm + (final_24h_mm - fresh_mm) * done / final


def set_disc(
    molding: Molding,
    mold: Mold,
    blend: Blend,
    *,
    lay_mm: float,
    spread_mm: float,
    by: Calibration = CALIBRATION,
) -> Disc:
    """Put a disc together; `lay_mm` and `spread_mm` are chance in how it lay while it set."""
    return Disc(
        dome_24h_mm=dome_24h_mm(molding, mold, blend, by) + lay_mm,
        diameter_24h_mm=diameter_24h_mm(molding, mold, blend, by) + spread_mm,
        weight_g=molding.weight_g,
        fresh_dome_mm=mold.crown_mm,
        fresh_diameter_mm=mold.outer_diameter_mm,
    )
