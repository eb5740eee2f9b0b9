"""Melt density against published values."""

import math

import pytest

from simulator.materials import BLENDS, DRY_PERCENT, TAIT_C, consistency_at_pa_sn, density_at_kg_m3


def test_polyolefin_melt_has_its_published_density() -> None:
    """Polypropylene at 230 degC and no pressure: 738.6 kg/m3 (ASTM D1238, from memory)."""
    assert density_at_kg_m3(BLENDS["C"], 230.0, 0.0) == pytest.approx(738.6, rel=0.003)


def test_melt_compresses_by_about_nine_tenths_of_a_percent_per_ten_megapascals() -> None:
    """Common practice for urethane melts, no source."""
    loose, pressed = (density_at_kg_m3(BLENDS["A"], 205.0, p) for p in (0.0, 10e6))
    assert pressed / loose - 1 == pytest.approx(0.009, abs=0.0015)


def test_initial_compressibility_is_the_tait_slope() -> None:
    """Derivative of the Tait equation at zero pressure: C / B(T)."""
    blend, step = BLENDS["C"], 1e4
    b = blend.tait_b[0] * 2.718281828459045 ** (-blend.tait_b[1] * 200.0)
    slope = density_at_kg_m3(blend, 200.0, step) / density_at_kg_m3(blend, 200.0, 0.0) - 1
    assert slope / step == pytest.approx(TAIT_C / b, rel=1e-3)


@pytest.mark.parametrize("name", BLENDS)
def test_hotter_melt_is_thinner_and_lighter(name: str) -> None:
    blend = BLENDS[name]
    assert consistency_at_pa_sn(blend, 215.0) < consistency_at_pa_sn(blend, 205.0)
    assert density_at_kg_m3(blend, 215.0, 0.0) < density_at_kg_m3(blend, 205.0, 0.0)


@pytest.mark.parametrize("temperature_c", [190.0, 230.0, 260.0])
@pytest.mark.parametrize("pressure_mpa", [0.0, 30.0, 100.0])
def test_polyolefin_melt_agrees_with_measured_volumes(temperature_c: float, pressure_mpa: float) -> None:
    """Isotactic polypropylene by P. Zoller, J. Appl. Polym. Sci. 23 (1979) 1051, another study than the one
    the constants are from: v0 = 1.1606 exp(6.700e-4 T) cm3/g, B = 149.1 exp(-4.177e-3 T) MPa, T in degC
    (coefficients from memory). Two studies of polymers of two makes differ by half a percent."""
    volume = 1.1606e-3 * math.exp(6.700e-4 * temperature_c)
    stiffness_mpa = 149.1 * math.exp(-4.177e-3 * temperature_c)
    volume *= 1 - 0.0894 * math.log(1 + pressure_mpa / stiffness_mpa)
    here = density_at_kg_m3(BLENDS["C"], temperature_c, pressure_mpa * 1e6)
    assert here == pytest.approx(1 / volume, rel=0.006)


def test_polyolefin_melt_has_the_densities_of_the_handbook() -> None:
    """Worked from the handbook's constants (Danner and High 1993) with a pocket calculator: 756 kg/m3 at
    190 degC and no pressure, 796 at 50 MPa."""
    assert density_at_kg_m3(BLENDS["C"], 190.0, 0.0) == pytest.approx(756.0, abs=1.0)
    assert density_at_kg_m3(BLENDS["C"], 190.0, 50e6) == pytest.approx(796.0, abs=1.0)


@pytest.mark.parametrize("name", ["A", "B"])
def test_urethane_has_a_density_that_data_sheets_would_allow(name: str) -> None:
    """Solid urethane has 1100 to 1250 kg/m3 (data sheets, from memory), its melt about a tenth less."""
    assert 1000 < density_at_kg_m3(BLENDS[name], 205.0, 0.0) < 1130


def test_only_blends_that_take_up_water_mind_it() -> None:
    assert BLENDS["A"].wet_percent(0.08) == pytest.approx(0.06)
    assert BLENDS["A"].wet_percent(DRY_PERCENT / 2) == 0.0
    assert BLENDS["C"].wet_percent(0.08) == 0.0
