"""`ageing --json`, the contract's section 4."""

from __future__ import annotations

from datetime import datetime

from analyzer.ageing_result import AgeingResult, RideUse
from analyzer.estimate import Estimate
from analyzer.forecast import DatedAhead
from analyzer.summary import Triple
from reports.json_out import Json, estimate_object, note_objects, number, to_text

AGEING_SCHEMA = "hillproof.ageing/1"
"""1: first version."""
HEALTH = ("share", "speed_ratio", "wheel_circumference", "rolling", "heat_per_watt", "demand_rest")


def ageing_json(result: AgeingResult) -> str:
    """How a pack has aged, as JSON text."""
    resistance, capacity, use = result.resistance, result.capacity, result.use
    health = {one.quantity: one for one in result.health}
    return to_text(
        {
            "schema": AGEING_SCHEMA,
            "rides": result.rides,
            "rides_used": result.rides_used,
            "span_days": number(result.span_days),
            "resistance": {
                "now_25c_ohm": estimate_object(resistance.now_25c_ohm if resistance else None),
                "new_25c_ohm": estimate_object(resistance.new_25c_ohm if resistance else None),
                "growth_pct_per_year": estimate_object(
                    resistance.growth_pct_per_year if resistance else None
                ),
                "jumps": [
                    {
                        "date": jump.date.date().isoformat(),
                        "step_pct": estimate_object(jump.step_pct),
                        "part": jump.part,
                        "note": jump.note,
                    }
                    for jump in result.jumps
                ],
            },
            "capacity": {
                "now_ah": estimate_object(capacity.now_ah if capacity else None),
                "of_rated_pct": estimate_object(result.of_rated_pct),
                "fade_pct_per_year": estimate_object(
                    capacity.fade_pct_per_year if capacity else None
                ),
                "usable_ah": estimate_object(result.usable_ah),
            },
            "use": {
                "distance_km": number(use.distance_km),
                "charge_out_ah": number(use.charge_out_ah),
                "equivalent_full_cycles": number(use.equivalent_full_cycles),
                "hours_full": number(use.hours_full),
                "hours_hot": number(use.hours_hot),
                "charged_cold_ah": number(use.charged_cold_ah),
                "depths": [
                    {"depth_pct": list(one.depth_pct), "cycles": number(one.cycles)}
                    for one in use.depths
                ],
                "wh_per_km": {
                    "first": estimate_object(result.wh_per_km[0]),
                    "last": estimate_object(result.wh_per_km[1]),
                },
            },
            "drive_health": [
                {
                    "quantity": name,
                    "first": estimate_object(health[name].first if name in health else None),
                    "last": estimate_object(health[name].last if name in health else None),
                }
                for name in HEALTH
            ],
            "forecast": {
                "capacity_80_pct": _dated(result.capacity_80),
                "resistance_150_pct": _dated(result.resistance_150),
                "hills": [
                    {
                        "hill": one.hill,
                        "charge_pct": number(one.charge_pct),
                        "from": _dated(one.ahead),
                    }
                    for one in result.hills
                ],
                "basis": result.basis,
            },
            "per_ride": [_ride(one) for one in result.per_ride],
            "notes": note_objects(result.notes),
        }
    )


def _month(day: datetime | None) -> str | None:
    return None if day is None else f"{day:%Y-%m}"


def _months(value: datetime | None, low: datetime | None, high: datetime | None) -> Json:
    if value is None and low is None and high is None:
        return None
    return {"value": _month(value), "low": _month(low), "high": _month(high)}


def _dated(one: DatedAhead | None) -> Json:
    return None if one is None else _months(one.value, one.low, one.high)


def _ride(one: RideUse) -> Json:
    own = one.kept.summary
    return {
        "ride": one.kept.name,
        "kind": own.kind,
        "start": own.start,
        "used": one.used,
        "why_not": one.why_not,
        "resistance_10s_25c_ohm": _estimate(own.resistance_10s_25c_ohm),
        "capacity_ah": _estimate(own.capacity_ah),
    }


def _estimate(triple: Triple | None) -> Json:
    return None if triple is None else estimate_object(Estimate(*triple))
