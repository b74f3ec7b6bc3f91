"""What force does the road ask for: grade, rolling, air and acceleration at the wheel.

F = m g sin(theta) + m g C_rr cos(theta) + 1/2 rho C_dA v^2 + m_eff a, tan(theta) = grade.
Sources: textbook road load (Gillespie, Fundamentals of Vehicle Dynamics, 1992; Martin et al.,
J. Appl. Biomech. 14, 1998, 276); standard atmosphere ISO 2533:1975.
"""

from __future__ import annotations

import numpy as np

from analyzer.quantities import Floats

GRAVITY_MPS2 = 9.80665
"""Standard gravity [m/s2]. CGPM 1901."""
SEA_LEVEL_PA = 101_325.0
SEA_LEVEL_K = 288.15
LAPSE_K_PER_M = 0.0065
AIR_GAS_J_PER_KG_K = 287.05287
"""Constants of the standard atmosphere, ISO 2533:1975."""
USUAL_AIR_KG_M3 = 1.2
"""Density of air at 20 °C near sea level, where no better one is needed. ISA: 1.204."""
BAROMETRIC_EXPONENT = GRAVITY_MPS2 / (AIR_GAS_J_PER_KG_K * LAPSE_K_PER_M)


def air_density(height_m: float | Floats, temp_c: float | None = None) -> float | Floats:
    """How thick the air is at a height [kg/m3]; with the standard temperature there unless one
    is given. Heights are geopotential metres up to 11 km. Source: ISO 2533:1975."""
    standard_k = SEA_LEVEL_K - LAPSE_K_PER_M * np.asarray(height_m, np.float64)
    pressure_pa = SEA_LEVEL_PA * (standard_k / SEA_LEVEL_K) ** BAROMETRIC_EXPONENT
    at_k = standard_k if temp_c is None else temp_c + 273.15
    density = pressure_pa / (AIR_GAS_J_PER_KG_K * at_k)
    return float(density) if np.ndim(density) == 0 else density


def sin_of_grade(grade_pct: float | Floats) -> float | Floats:
    """The part of the weight that pulls downhill; tan(theta) is the grade."""
    tangent = np.asarray(grade_pct, np.float64) / 100.0
    sine = tangent / np.sqrt(1.0 + tangent**2)
    return float(sine) if np.ndim(sine) == 0 else sine


def road_force_n(
    speed_mps: float | Floats,
    grade_pct: float | Floats,
    *,
    mass_kg: float,
    rolling_coefficient: float,
    drag_area_m2: float,
    density: float = 1.225,
) -> float | Floats:
    """The force at the wheel that holds this speed on this grade [N], without acceleration."""
    sine = np.asarray(sin_of_grade(grade_pct))
    weight_n = mass_kg * GRAVITY_MPS2
    speed = np.asarray(speed_mps, np.float64)
    rolling = weight_n * rolling_coefficient * np.sqrt(1.0 - sine**2)
    force = weight_n * sine + rolling + 0.5 * density * drag_area_m2 * speed * np.abs(speed)
    return float(force) if np.ndim(force) == 0 else force
