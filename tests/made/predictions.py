"""A hill not ridden yet, as the reports get it: the cargo trike's numbers, made by hand."""

from dataclasses import replace
from typing import Any

from made.ride_results import made_setup

from analyzer.estimate import Estimate
from analyzer.events import NotChecked
from analyzer.predict import LimitAhead, PredictResult, WorksUpTo, even_hill


def made_prediction(**changes: Any) -> PredictResult:
    """A climb that works, a limiter at work on the way; `changes` are fields set otherwise."""
    made = PredictResult(
        setup=made_setup(),
        hill=even_hill(grade_pct=9.0, length_m=900.0, charge_pct=35.0, temp_c=5.0),
        mass_kg=310.0,
        speed_wished_mps=5.0,
        limits=(
            LimitAhead("drives.left.battery_drive_a", 28.0, "A", Estimate(27.9, 27.5, 28.3), 99.0),
            LimitAhead("bms.discharge_rating_a", 40.0, "A", Estimate(36.0, 33.0, 39.0), 12.0),
            LimitAhead("bms.charge_rating_a", 15.0, "A", None, None),
            LimitAhead("drives.left.motor_stop_c", 120.0, "°C", Estimate(71.0, 64.0, 80.0), 0.0),
        ),
        speed_mps=Estimate(5.0, 4.0, 5.5),
        power_first_reduced_at_m=None,
        chance_reduced_pct=1.0,
        chance_top_pct=100.0,
        lowest_voltage_v=Estimate(54.5, 53.9, 55.0),
        highest_voltage_v=Estimate(58.0, 57.7, 58.3),
        rest_low_v=50.0,
        rest_high_v=52.0,
        charge_used_ah=Estimate(1.9, 1.7, 2.1),
        motor_temp_top_c=Estimate(71.0, 64.0, 80.0),
        works_up_to=WorksUpTo(Estimate(9.6, 8.8, 10.1), Estimate(31.0, 25.0, 40.0), None),
        descent=None,
        not_checked=(NotChecked("the fuse", ("wiring.fuse_a",)),),
        notes=(),
        draws=200,
    )
    return replace(made, **changes)
