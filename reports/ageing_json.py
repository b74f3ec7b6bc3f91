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
    return to_text(
        {
            "schema": AGEING_SCHEMA,
            "rides": result.rides,
            "rides_used": result.rides_used,
            "span_days": number(result.span_days),
            "resistance": _resistance(result),
            "capacity": _capacity(result),
            "use": _use(result),
            "drive_health": _drive_health(result),
            "forecast": _forecast(result),
            "per_ride": [_ride(one) for one in result.per_ride],
            "notes": note_objects(result.notes),
        }
    )


def _resistance(result: AgeingResult) -> Json:
    course = result.resistance
    return {
        "now_25c_ohm": estimate_object(course.now_25c_ohm if course else None),
        "new_25c_ohm": estimate_object(course.new_25c_ohm if course else None),
        "growth_pct_per_year": estimate_object(course.growth_pct_per_year if course else None),
        "jumps": [
            {
                "date": jump.date.date().isoformat(),
                "step_pct": estimate_object(jump.step_pct),
                "part": jump.part,
                "note": jump.note,
            }
            for jump in result.jumps
        ],
    }


def _capacity(result: AgeingResult) -> Json:
    course = result.capacity
    return {
        "now_ah": estimate_object(course.now_ah if course else None),
        "of_rated_pct": estimate_object(result.of_rated_pct),
        "fade_pct_per_year": estimate_object(course.fade_pct_per_year if course else None),
        "usable_ah": estimate_object(result.usable_ah),
    }


def _use(result: AgeingResult) -> Json:
    use = result.use
    first, last = result.wh_per_km
    return {
        "distance_km": number(use.distance_km),
        "charge_out_ah": number(use.charge_out_ah),
        "equivalent_full_cycles": number(use.equivalent_full_cycles),
        "hours_full": number(use.hours_full),
        "hours_hot": number(use.hours_hot),
        "charged_cold_ah": number(use.charged_cold_ah),
        "depths": [
            {"depth_pct": list(one.depth_pct), "cycles": number(one.cycles)} for one in use.depths
        ],
        "wh_per_km": {"first": estimate_object(first), "last": estimate_object(last)},
    }


def _drive_health(result: AgeingResult) -> Json:
    health = {one.quantity: one for one in result.health}
    return [
        {
            "quantity": name,
            "first": estimate_object(health[name].first if name in health else None),
            "last": estimate_object(health[name].last if name in health else None),
        }
        for name in HEALTH
    ]


def _forecast(result: AgeingResult) -> Json:
    return {
        "capacity_80_pct": _dated(result.capacity_80),
        "resistance_150_pct": _dated(result.resistance_150),
        "hills": [
            {"hill": one.hill, "charge_pct": number(one.charge_pct), "from": _dated(one.ahead)}
            for one in result.hills
        ],
        "basis": result.basis,
    }


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
