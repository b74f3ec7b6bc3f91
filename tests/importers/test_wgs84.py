"""Short legs on the ellipsoid against published distances and a geodesic reference library."""

import numpy as np
import pytest

from importers.wgs84 import legs_m


def test_a_published_path() -> None:
    # GeographicLib 2.1 on WGS 84, leg by leg; worked out once and confirmed with pyproj 3.7
    legs = legs_m(
        np.array([47.0, 47.0005, 47.0010, 47.0012]), np.array([8.0, 8.0003, 8.0010, 8.0020])
    )
    assert legs == pytest.approx([60.0861, 76.9680, 79.2378], abs=1e-4)


def test_a_leg_over_the_date_line() -> None:
    east = legs_m(np.array([0.0, 0.0]), np.array([179.9995, -179.9995]))
    # WGS 84: one degree along the equator is 111 319.491 m
    assert east == pytest.approx([111.319491], abs=1e-6)


@pytest.mark.parametrize(("length_m", "relative"), [(3.0, 2e-9), (100.0, 1e-9), (10_000.0, 1e-6)])
def test_against_the_exact_geodesic(length_m: float, relative: float) -> None:
    geodesic = pytest.importorskip("geographiclib.geodesic").Geodesic.WGS84
    rng = np.random.default_rng(7)
    for _ in range(300):
        lat, lon, azimuth = rng.uniform(-70, 70), rng.uniform(-180, 180), rng.uniform(0, 360)
        end = geodesic.Direct(lat, lon, azimuth, length_m)
        leg = legs_m(np.array([lat, end["lat2"]]), np.array([lon, end["lon2"]]))[0]
        assert leg == pytest.approx(length_m, rel=relative, abs=3e-9)
