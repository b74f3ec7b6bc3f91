"""`limits --json`, the contract's section 4.

Beyond the contract's keys: each limit has `restated` (what it becomes at 30 % charge, at 0 and at
35 °C and with full load: `at` names what is changed, `value` what `seen` would be, `verdict` the
word), `descents` are listed as `climbs` are, `closest` has how near each protection came to acting,
`worst_ahead` the highest current to expect of the next climbs, `notes` say what is not known.
"""

from __future__ import annotations

from analyzer.closest import Closest
from analyzer.descents import Descent
from analyzer.estimate import Note
from analyzer.limits_merge import LimitsResult, MergedLimit, RideClimb, RideDescent, WorstAhead
from analyzer.restated import Restated
from reports.inputs_view import inputs_sentences
from reports.json_out import (
    Json,
    climb_object,
    estimate_object,
    limit_object,
    not_checked_objects,
    note_objects,
    number,
    to_text,
)

LIMITS_SCHEMA = "hillproof.limits/1"
"""1: first version."""


def limits_json(result: LimitsResult) -> str:
    """Limits over one ride or many, as JSON text."""
    return to_text(
        {
            "schema": LIMITS_SCHEMA,
            "limits": [_limit(one, result) for one in result.limits],
            "not_checked": not_checked_objects(result.not_checked),
            "climbs": [_climb(one) for one in result.climbs],
            "next_ride": list(result.next_ride),
            "descents": [_descent(one) for one in result.descents],
            "closest": [_closest(one) for one in result.closest],
            "worst_ahead": _worst(result.worst_ahead),
            "notes": note_objects(_notes(result)),
        }
    )


def _notes(result: LimitsResult) -> list[Note]:
    out = [*result.in_force, *result.restated.notes]
    for ride, inputs in result.inputs:
        out += [Note("rider_inputs", f"{ride}: {text}") for text in inputs_sentences(inputs)]
    if result.worst_ahead is None:
        text = (
            "Fewer than 50 climbs under the driving limits as they are set now carry no statement "
            "on the worst to come."
        )
        out.append(Note("worst_ahead", text))
    return out


def _worst(one: WorstAhead | None) -> Json:
    if one is None:
        return None
    return {
        "climbs": one.climbs,
        "ahead": one.ahead,
        "peak_pack_current_a": estimate_object(one.current_a),
    }


def _limit(one: MergedLimit, result: LimitsResult) -> Json:
    return {
        **limit_object(one.check),
        "rides_exercised": one.rides_exercised,
        "ride": one.ride,
        "where": one.where,
        "restated": [_restated(cell) for cell in result.restated.of(one.check.limit)],
    }


def _restated(one: Restated) -> Json:
    changed = {
        "charge_pct": one.condition.charge_pct,
        "pack_temp_c": one.condition.temp_c,
        "mass_kg": one.condition.mass_kg,
    }
    return {
        "at": {name: number(value) for name, value in changed.items() if value is not None},
        "value": estimate_object(one.value),
        "verdict": None if one.verdict is None else one.verdict.value,
    }


def _closest(one: Closest) -> Json:
    return {
        "limit": one.limit,
        "set": number(one.set),
        "seen": number(one.seen),
        "used_pct": number(one.used_pct),
        "held_s": number(one.held_s),
        "ride": one.ride,
        "where": one.where,
        "acted": one.acted,
    }


def _descent(one: RideDescent) -> Json:
    return {**descent_object(one.descent), "ride": one.ride}


def descent_object(one: Descent) -> dict[str, Json]:
    """One descent, in the manner of a climb."""
    charge = one.charge_pct
    return {
        "start_s": number(one.start_s),
        "end_s": number(one.end_s),
        "length_m": number(one.length_m),
        "drop_m": number(one.drop_m),
        "grade_pct": estimate_object(one.grade_pct),
        "grade_source": one.grade_source.value,
        "charge_pct": None if charge is None else [number(charge[0]), number(charge[1])],
        "peak_braking_current_a": {name: number(a) for name, a in one.braking_a},
        "peak_braking_together_a": number(one.braking_together_a),
        "charge_back_ah": number(one.charge_back_ah),
        "max_voltage_v": number(one.max_voltage_v),
        "margin_to_full_v": number(one.margin_to_full_v),
        "governed_pct": {
            drive.drive: {word.value: number(pct) for word, pct in drive.parts}
            for drive in one.governed
        },
        "limits_touched": list(one.limits_touched),
    }


def _climb(one: RideClimb) -> Json:
    return {**climb_object(one.climb), "ride": one.ride}
