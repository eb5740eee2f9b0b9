"""Cooling of plate and rim in the mold, as published series.

References
----------
H. S. Carslaw, J. C. Jaeger, Conduction of Heat in Solids (Oxford, 1959), section 3.3: mean temperature of a
slab whose faces are held, and section 1.15: the product rule for a bar. J. Crank, The Mathematics of
Diffusion (Oxford, 1975), section 4.3: the form for short times. The two cooling times of a plate, to a mean
and to a middle temperature, are in every handbook of injection molding.
"""

import math

_ENOUGH = 40.0  # exp(-40) is nothing
_SHORT = 0.02  # Fourier number under which the form for short times is exact to 1e-6


def slab_mean(fourier: float) -> float:
    """Mean of (T - T_wall) / (T_start - T_wall) over a slab, both faces at T_wall.

    Parameters
    ----------
    fourier : float
        Diffusivity * time / thickness**2, 0 or more.
    """
    if fourier <= 0.0:
        return 1.0
    if fourier < _SHORT:
        return 1.0 - 4.0 * math.sqrt(fourier / math.pi)
    total, odd = 0.0, 1
    while (odd * math.pi) ** 2 * fourier < _ENOUGH and odd < 400:
        total += 8 / (odd * math.pi) ** 2 * math.exp(-((odd * math.pi) ** 2) * fourier)
        odd += 2
    return total


def cooling_time_s(
    *, thickness_m: float, diffusivity_m2_s: float, melt_c: float, wall_c: float, mean_c: float
) -> float:
    """Time until the slab's mean temperature is `mean_c`: first term of the series, the handbook formula."""
    ratio = 8 / math.pi**2 * (melt_c - wall_c) / (mean_c - wall_c)
    return thickness_m**2 / (math.pi**2 * diffusivity_m2_s) * math.log(ratio)


def middle_time_s(
    *, thickness_m: float, diffusivity_m2_s: float, melt_c: float, wall_c: float, middle_c: float
) -> float:
    """Time until the slab's middle is at `middle_c`: first term of the series, the handbook formula."""
    ratio = 4 / math.pi * (melt_c - wall_c) / (middle_c - wall_c)
    return thickness_m**2 / (math.pi**2 * diffusivity_m2_s) * math.log(ratio)


def rim_share(*, side_m: float, diffusivity_m2_s: float, time_s: float) -> float:
    """Mean of (T - T_wall) / (T_start - T_wall) of a square bar: the slab's, squared."""
    return slab_mean(diffusivity_m2_s * time_s / side_m**2) ** 2


def plate_share(*, thickness_m: float, diffusivity_m2_s: float, time_s: float) -> float:
    """The same for the flight plate, a slab."""
    return slab_mean(diffusivity_m2_s * time_s / thickness_m**2)
