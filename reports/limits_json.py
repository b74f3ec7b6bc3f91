"""`limits --json`, the contract's section 4."""

from __future__ import annotations

from analyzer.limits_merge import LimitsResult, MergedLimit, RideClimb
from reports.json_out import Json, climb_object, limit_object, not_checked_objects, to_text

LIMITS_SCHEMA = "hillproof.limits/1"
"""1: first version."""


def limits_json(result: LimitsResult) -> str:
    """Limits over one ride or many, as JSON text."""
    return to_text(
        {
            "schema": LIMITS_SCHEMA,
            "limits": [_limit(one) for one in result.limits],
            "not_checked": not_checked_objects(result.not_checked),
            "climbs": [_climb(one) for one in result.climbs],
            "next_ride": list(result.next_ride),
        }
    )


def _limit(one: MergedLimit) -> Json:
    return {**limit_object(one.check), "rides_exercised": one.rides_exercised}


def _climb(one: RideClimb) -> Json:
    return {**climb_object(one.climb), "ride": one.ride}
