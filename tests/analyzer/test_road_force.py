"""Road load against worked values and the standard atmosphere."""

from __future__ import annotations

import numpy as np
import pytest

from analyzer.road_force import air_density, road_force_n, sin_of_grade

# ISO 2533:1975 (equal to ICAO and US 1976 below 11 km), density at geopotential heights.
ATMOSPHERE = [
    (0, 1.2250), (250, 1.19587), (500, 1.16727), (1000, 1.11164),
    (1500, 1.05807), (2000, 1.00649), (3000, 0.90912),
]  # fmt: skip


@pytest.mark.parametrize(("height_m", "density"), ATMOSPHERE)
def test_air_density_follows_the_standard_atmosphere(height_m: float, density: float) -> None:
    assert air_density(height_m) == pytest.approx(density, rel=1e-5)


@pytest.mark.parametrize(("temp_c", "density"), [(5, 1.2690), (35, 1.1455)])
def test_air_density_at_other_temperatures(temp_c: float, density: float) -> None:
    # ideal gas at sea-level pressure
    assert air_density(0.0, temp_c) == pytest.approx(density, rel=1e-4)


# trigonometry: tan(theta) = grade / 100
SINES = [
    (1, 0.0099995), (2, 0.0199960), (5, 0.0499376), (8, 0.0797452), (10, 0.0995037),
    (12, 0.1191452), (15, 0.1483405), (20, 0.1961161), (30, 0.2873479), (100, 0.7071068),
]  # fmt: skip


@pytest.mark.parametrize(("grade_pct", "sine"), SINES)
def test_the_sine_of_a_grade(grade_pct: float, sine: float) -> None:
    assert sin_of_grade(grade_pct) == pytest.approx(sine, abs=5e-8)


def test_worked_climb_of_165_kg_at_10_pct_and_5_mps() -> None:
    # textbook form worked by hand: 161.007 N grade + 19.321 N rolling + 9.188 N air
    force = road_force_n(
        5.0, 10.0, mass_kg=165.0, rolling_coefficient=0.012, drag_area_m2=0.60, density=1.225
    )
    assert force == pytest.approx(189.515, abs=2e-3)
    assert force * 5.0 == pytest.approx(947.6, abs=0.05)


def test_arrays_and_downhill() -> None:
    force = road_force_n(
        np.array([0.0, 0.0]), np.array([10.0, -10.0]), mass_kg=100.0,
        rolling_coefficient=0.0, drag_area_m2=0.5,
    )  # fmt: skip
    assert force[0] == pytest.approx(-force[1])
