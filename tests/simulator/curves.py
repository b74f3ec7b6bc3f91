"""Published rest-voltage curves at 25 °C, by name; their sources stand in `importers/curves/`."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

FILE = Path(__file__).with_name("rest_voltage_curves.csv")


@cache
def _all() -> pd.DataFrame:
    return pd.read_csv(FILE)


@cache
def published_curve(name: str) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """State of charge (0 to 1) and volts per cell, 101 values each, strictly rising."""
    rows = _all()[_all()["curve"] == name]
    return rows["soc_pct"].to_numpy(float) / 100, rows["ocv_v_per_cell"].to_numpy(float)
