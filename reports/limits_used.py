"""How much of each limit was used, sample by sample: at 100 % it is reached."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analyzer.loss_lines import prompt_current_a
from analyzer.quantities import Floats, pack_voltage_v
from analyzer.ride_analysis import RideResult


@dataclass(frozen=True, slots=True, eq=False)
class LimitUse:
    """One limit: its name and n values of its use [share of 1], one per row of the ride."""

    name: str
    share: Floats


def limits_used(result: RideResult) -> list[LimitUse]:
    """The pack's limits that this ride's channels can be held against: currents as share of the
    limit, voltage as share of the way from rest to the controllers' stop."""
    return [*_currents(result), *_voltage(result)]


def _currents(result: RideResult) -> list[LimitUse]:
    bms, pack = result.setup.bms, result.setup.pack
    current = prompt_current_a(result.ride, result.setup)
    if current is None:
        return []
    given = [
        ("BMS trip", bms.discharge_trip_a, 1.0),
        ("BMS rating", bms.discharge_rating_a, 1.0),
        ("cells' rating", pack.discharge_rating_a, 1.0),
        ("BMS charge rating", bms.charge_rating_a, -1.0),
        ("cells' charge rating", pack.charge_rating_a, -1.0),
    ]
    return [
        LimitUse(name, sign * current / limit) for name, limit, sign in given if limit is not None
    ]


def _voltage(result: RideResult) -> list[LimitUse]:
    voltage = pack_voltage_v(result.ride, result.setup)
    stops = [one.stop_at_v for one in result.setup.drives if one.stop_at_v is not None]
    if voltage is None or not stops or result.pack_fit is None:
        return []
    rest, stop = result.pack_fit.rest_voltage_v, max(stops)
    with np.errstate(invalid="ignore", divide="ignore"):
        way = np.where(rest > stop, (rest - voltage.values) / (rest - stop), np.nan)
    return [LimitUse("way from rest to the stop voltage", np.asarray(way, np.float64))]
