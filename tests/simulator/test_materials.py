"""Melt density against published values."""

import pytest

from simulator.materials import BLENDS, TAIT_C, consistency_at_pa_sn, density_at_kg_m3


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
