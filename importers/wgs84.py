"""Distances over ground on the WGS 84 ellipsoid, for the short legs between fixes. Pure.

A leg is measured with the two radii of curvature at its middle latitude. Against the exact
geodesic this is within 1e-6 of the length up to 10 km away from the poles, and 1e-9 at the metres
between two fixes of a ride.

Sources: NIMA TR8350.2, World Geodetic System 1984 (2000), table 3.1 for the ellipsoid; Rapp,
Geometric Geodesy I (1991), section 3.6 for the radii of curvature.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

SEMI_MAJOR_M = 6_378_137.0
FLATTENING = 1 / 298.257_223_563
ECCENTRICITY_2 = FLATTENING * (2 - FLATTENING)


def legs_m(
    latitude_deg: NDArray[np.float64], longitude_deg: NDArray[np.float64]
) -> NDArray[np.float64]:
    """How long is each leg from one position to the next? n positions give n - 1 lengths."""
    latitude = np.radians(latitude_deg)
    middle = (latitude[1:] + latitude[:-1]) / 2
    turn = np.diff(longitude_deg)
    turn = np.radians((turn + 180.0) % 360.0 - 180.0)
    bulge = 1 - ECCENTRICITY_2 * np.sin(middle) ** 2
    across = SEMI_MAJOR_M / np.sqrt(bulge)
    along = SEMI_MAJOR_M * (1 - ECCENTRICITY_2) / bulge**1.5
    north = along * np.diff(latitude)
    east = across * np.cos(middle) * turn
    # chord of the small circle against the geodesic: second order in the leg's length
    bend = 1 - (turn * np.sin(middle)) ** 2 / 24
    return np.asarray(np.hypot(north, east * bend), np.float64)
