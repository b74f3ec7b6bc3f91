"""`predict --json`, contract section 5, field by field."""

from __future__ import annotations

from analyzer.predict import PredictResult
from reports.json_out import (
    Json,
    estimate_object,
    not_checked_objects,
    note_objects,
    number,
    to_text,
)

PREDICT_SCHEMA = "hillproof.predict/1"


def predict_json(result: PredictResult) -> str:
    """The prediction as the contract's JSON."""
    hill, works = result.hill, result.works_up_to
    out: dict[str, Json] = {
        "schema": PREDICT_SCHEMA,
        "hill": {
            "grade_pct": number(hill.grade_pct),
            "length_m": number(hill.length_m),
            "charge_pct": number(hill.charge_pct),
            "temp_c": number(hill.temp_c),
            "speed_mps": number(result.speed_wished_mps),
            "mass_kg": number(result.mass_kg),
        },
        "limits": [
            {
                "limit": one.limit,
                "set": number(one.set),
                "expected_peak": estimate_object(one.expected_peak),
                "chance_touched_pct": number(one.chance_touched_pct),
            }
            for one in result.limits
        ],
        "speed_mps": estimate_object(result.speed_mps),
        "power_first_reduced_at_m": estimate_object(result.power_first_reduced_at_m),
        "lowest_voltage_v": estimate_object(result.lowest_voltage_v),
        "highest_voltage_v": estimate_object(result.highest_voltage_v),
        "charge_used_ah": estimate_object(result.charge_used_ah),
        "motor_temp_top_c": estimate_object(result.motor_temp_top_c),
        "works_up_to": {
            "grade_pct": estimate_object(works.grade_pct),
            "charge_down_to_pct": estimate_object(works.charge_down_to_pct),
            "temp_down_to_c": estimate_object(works.temp_down_to_c),
        },
        "not_checked": not_checked_objects(result.not_checked),
        "notes": note_objects(result.notes),
    }
    return to_text(out)
