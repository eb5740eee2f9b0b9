"""Blends: how they flow, cool, pack and shrink. The blends are invented; their constants lie in published
ranges.

References
----------
Power-law constants of polypropylene: T. A. Osswald, Understanding Polymer Processing (Hanser), quoted from
memory. Tait constants of polypropylene: Handbook of Polymer Solution Thermodynamics (Danner and High, 1993).
Thermal constants of thermoplastic urethane: usual data-sheet values (k 0.19 W/mK, cp 1850 J/kgK). Those of
polypropylene: k 0.24 W/mK and cp 2100 J/kgK, to which its heat of crystallization (about 100 J/g, from
memory) adds some 600 on the way from melt to mold, and slows its cooling as much. The urethanes' flow
constants are assumed (n between 0.35 and 0.6, strong temperature dependence); no published Tait constants of
a urethane were found, theirs come from an unattributed public table and give 1061 kg/m3 at 210 degC, which is
plausible.
"""

import math
from dataclasses import dataclass

TAIT_C = 0.0894  # universal constant of the Tait equation
DRY_PERCENT = 0.02  # resin moisture that a dryer in order leaves (urethane suppliers' guides)


@dataclass(frozen=True, slots=True, kw_only=True)
class Blend:
    """One material recipe.

    Attributes
    ----------
    consistency_pa_sn, flow_index, reference_c, consistency_slope_per_k : float
        Power law: stress = K * rate**n, K = consistency * exp(slope * (T - reference)).
    thinned_per_percent : float
        By which moisture thins it: consistency * exp(-thinned * percent above dry); 0 takes up no water.
    diffusivity_m2_s, density_kg_m3, heat_capacity_j_kgk : float
        For cooling and shear heating.
    expansion_per_k : float
        Linear thermal expansion of the solid.
    shrink_factor : float
        Strain of this blend against the first one, from crystals and restraint; calibrated, not published.
    tait_a, tait_b : tuple
        v(T, 0) = a0 + a1 T + a2 T^2 in m3/kg with T in degC; B = b0 exp(-b1 T) in Pa.
    """

    name: str
    consistency_pa_sn: float
    flow_index: float
    reference_c: float
    consistency_slope_per_k: float
    thinned_per_percent: float
    diffusivity_m2_s: float
    density_kg_m3: float
    heat_capacity_j_kgk: float
    expansion_per_k: float
    shrink_factor: float
    tait_a: tuple[float, float, float]
    tait_b: tuple[float, float]

    @property
    def usual_melt_c(self) -> float:
        """Melt at the screw tip with the usual settings; corrections count from here."""
        return self.reference_c

    def wet_percent(self, moisture_percent: float) -> float:
        """Moisture that matters: above dry, and only where the blend takes up water."""
        return max(moisture_percent - DRY_PERCENT, 0.0) if self.thinned_per_percent > 0 else 0.0

    def stiffness(self, melt_c: float, *, steep: float) -> float:
        """Consistency at a melt temperature against the usual one; `steep` is the part of the slope felt."""
        return math.exp(steep * self.consistency_slope_per_k * (melt_c - self.usual_melt_c))


def consistency_at_pa_sn(blend: Blend, temperature_c: float) -> float:
    """Power-law consistency at a melt temperature."""
    return blend.consistency_pa_sn * math.exp(
        blend.consistency_slope_per_k * (temperature_c - blend.reference_c)
    )


def density_at_kg_m3(blend: Blend, temperature_c: float, pressure_pa: float) -> float:
    """Density by the Tait equation: v = v(T, 0) * (1 - C ln(1 + p / B(T)))."""
    a0, a1, a2 = blend.tait_a
    b0, b1 = blend.tait_b
    stiffness_pa = b0 * math.exp(-b1 * temperature_c)
    squeezed = 1.0 - TAIT_C * math.log1p(max(pressure_pa, 0.0) / stiffness_pa)
    return 1.0 / ((a0 + a1 * temperature_c + a2 * temperature_c * temperature_c) * squeezed)


BLENDS: dict[str, Blend] = {
    "A": Blend(
        name="A",
        consistency_pa_sn=1.23e4,
        flow_index=0.42,
        reference_c=200.0,
        consistency_slope_per_k=-0.025,
        thinned_per_percent=2.8,
        diffusivity_m2_s=0.087e-6,
        density_kg_m3=1190.0,
        heat_capacity_j_kgk=1850.0,
        expansion_per_k=145e-6,
        shrink_factor=1.0,
        tait_a=(8.20e-4, 5.82e-7, 0.0),
        tait_b=(2.446e8, 4.82e-3),
    ),
    "B": Blend(
        name="B",
        consistency_pa_sn=1.43e4,
        flow_index=0.42,
        reference_c=200.0,
        consistency_slope_per_k=-0.028,
        thinned_per_percent=2.8,
        diffusivity_m2_s=0.087e-6,
        density_kg_m3=1170.0,
        heat_capacity_j_kgk=1850.0,
        expansion_per_k=160e-6,
        shrink_factor=1.25,
        tait_a=(8.28e-4, 5.90e-7, 0.0),
        tait_b=(2.446e8, 4.82e-3),
    ),
    "C": Blend(
        name="C",
        consistency_pa_sn=7.5e3,
        flow_index=0.38,
        reference_c=200.0,
        consistency_slope_per_k=-0.004,
        thinned_per_percent=0.0,
        diffusivity_m2_s=0.098e-6,
        density_kg_m3=905.0,
        heat_capacity_j_kgk=2700.0,
        expansion_per_k=100e-6,
        shrink_factor=2.25,
        tait_a=(1.2033e-3, 4.8182e-7, 7.7589e-10),
        tait_b=(1.4236e8, 4.0184e-3),
    ),
}
