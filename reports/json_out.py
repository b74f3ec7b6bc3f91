"""Machine output as JSON, field by field as the contract's sections 3 to 5 list it.

Every key is always present; what cannot be known is null. NaN never leaves: it is not JSON
(RFC 8259, section 6).
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Sequence
from pathlib import PurePath, PureWindowsPath

from analyzer.balance import Balance, InForce, Share
from analyzer.climbs import Climb
from analyzer.estimate import Estimate, Note
from analyzer.events import Cause, Event, NotChecked
from analyzer.limits import LimitCheck, Tried
from analyzer.pack_state import PackState
from analyzer.ride_analysis import RideResult
from analyzer.words import BalanceVerdict
from importers.ride import ChannelReading, Source

RIDE_SCHEMA = "hillproof.ride/1"
"""1: first version."""
LOOK_SCHEMA = "hillproof.look/1"
"""1: first version."""

SIGNIFICANT = 9
"""Figures written of a number: more than any sensor carries, few enough to read. Our choice."""

Json = None | bool | int | float | str | list["Json"] | dict[str, "Json"]


def ride_json(result: RideResult) -> str:
    """One ride's result as JSON text."""
    return to_text(ride_object(result))


def look_json(sources: Iterable[Source]) -> str:
    """What was found in log files, as JSON text."""
    return to_text({"schema": LOOK_SCHEMA, "sources": [source_object(one) for one in sources]})


def to_text(content: dict[str, Json]) -> str:
    """JSON text with a line end; refuses NaN with a `ValueError`."""
    return json.dumps(content, allow_nan=False, ensure_ascii=False, indent=1) + "\n"


def number(value: float | None) -> float | int | None:
    """A finite number, rounded to what a sensor can carry; None for what is not finite."""
    if value is None or not math.isfinite(value):
        return None
    if isinstance(value, int):
        return value
    return float(f"{value:.{SIGNIFICANT}g}")


def estimate_object(one: Estimate | None) -> Json:
    """`{"value", "low", "high"}`, or null."""
    if one is None or not math.isfinite(one.value):
        return None
    return {"value": number(one.value), "low": number(one.low), "high": number(one.high)}


def shown_file(path: str) -> str:
    """A file as a result names it: as typed, but a whole path from the root down to its name,
    so that a result can be passed on without telling whose machine it was made on."""
    pure = PurePath(path)
    return pure.name if pure.is_absolute() or PureWindowsPath(path).is_absolute() else path


def note_objects(notes: Iterable[Note]) -> list[Json]:
    """The contract's `notes`."""
    return [{"about": one.about, "text": one.text} for one in notes]


def not_checked_objects(rows: Iterable[NotChecked]) -> list[Json]:
    """The contract's `not_checked`."""
    return [{"what": one.what, "missing": list[Json](one.missing)} for one in rows]


def source_object(source: Source) -> dict[str, Json]:
    """One log file: what it was taken for and how each column was read."""
    return {
        "file": shown_file(source.file),
        "role": source.role,
        "rows": source.rows,
        "rows_dropped": source.rows_dropped,
        "rate_hz": number(source.rate_hz),
        "clock_offset_s": number(source.clock_offset_s),
        "clock_drift_ppm": number(source.clock_drift_ppm),
        "channels": [_channel_object(one) for one in source.channels],
        "problems": list(source.problems),
    }


def _channel_object(one: ChannelReading) -> dict[str, Json]:
    return {
        "header": one.header,
        "channel": one.channel,
        "unit": one.unit,
        "sign": one.sign,
        "rate_hz": number(one.rate_hz),
        "sure": number(one.sure),
    }


def ride_object(result: RideResult) -> dict[str, Json]:
    """The whole of section 3 as plain values."""
    return {
        "schema": RIDE_SCHEMA,
        "ride": _ride_head(result),
        "pack": _pack_object(result.pack),
        "balance": _balance_object(result.balance, result.in_force),
        "events": [event_object(one) for one in result.events],
        "limits": [limit_object(one) for one in result.limits],
        "not_checked": not_checked_objects(result.not_checked),
        "climbs": [climb_object(one) for one in result.climbs],
        "notes": note_objects([*result.notes, *_told(result)]),
    }


def _told(result: RideResult) -> list[Note]:
    """What the contract has no keys for: the descents, and how the rider's demand arrived."""
    from reports.descents_view import descent_sentence
    from reports.inputs_view import inputs_sentences

    down = [
        Note(f"descents[{k}]", f"{one.start_s:.1f} to {one.end_s:.1f} s: {descent_sentence(one)}")
        for k, one in enumerate(result.descents)
    ]
    return [*down, *(Note("rider_inputs", text) for text in inputs_sentences(result.inputs))]


def _ride_head(result: RideResult) -> dict[str, Json]:
    ride, totals = result.ride, result.totals
    return {
        "start": None if ride.start is None else ride.start.isoformat(),
        "duration_s": number(totals.duration_s),
        "distance_m": number(totals.distance_m),
        "energy_out_wh": number(totals.energy_out_wh),
        "energy_back_wh": number(totals.energy_back_wh),
        "charge_out_ah": number(totals.charge_out_ah),
        "charge_back_ah": number(totals.charge_back_ah),
        "drives": list(ride.drives),
        "setup": shown_file(result.setup.file) or None,
        "sources": [source_object(one) for one in ride.sources],
    }


def _pack_object(pack: PackState) -> dict[str, Json]:
    return {
        "resistance_10s_ohm": estimate_object(pack.resistance_10s_ohm),
        "resistance_10s_25c_ohm": estimate_object(pack.resistance_10s_25c_ohm),
        "resistance_instant_ohm": estimate_object(pack.resistance_instant_ohm),
        "temperature_c": number(pack.temperature_c),
        "rest_voltage_start_v": estimate_object(pack.rest_voltage_start_v),
        "rest_voltage_end_v": estimate_object(pack.rest_voltage_end_v),
        "state_of_charge_start_pct": estimate_object(pack.state_of_charge_start_pct),
        "state_of_charge_end_pct": estimate_object(pack.state_of_charge_end_pct),
        "capacity_ah": estimate_object(pack.capacity_ah),
    }


def _balance_object(balance: Balance | None, in_force: Sequence[InForce]) -> dict[str, Json]:
    enough = balance is not None and balance.verdict is not BalanceVerdict.NOT_ENOUGH_LOAD
    shares: Json = None
    if balance is not None and enough:
        shares = {one.drive: _share_object(one) for one in balance.shares}
    return {
        "shares": shares,
        "speed_ratio": None if balance is None else estimate_object(balance.speed_ratio),
        "in_force": {one.drive: _in_force_object(one) for one in in_force},
        "verdict": None if balance is None else balance.verdict.value,
        "causes": None if balance is None else [_balance_cause(one) for one in balance.causes],
    }


def _share_object(one: Share) -> dict[str, Json]:
    return {
        "drive_pct": estimate_object(one.drive_pct),
        "brake_pct": estimate_object(one.brake_pct),
    }


def _in_force_object(one: InForce) -> dict[str, Json]:
    return {
        "battery_drive_a": estimate_object(one.battery_drive_a),
        "phase_drive_a": estimate_object(one.phase_drive_a),
        "battery_brake_a": estimate_object(one.battery_brake_a),
        "phase_brake_a": estimate_object(one.phase_brake_a),
    }


def _balance_cause(one: Cause) -> dict[str, Json]:
    return {
        "cause": one.cause,
        "probability": number(one.probability),
        "evidence": list(one.evidence),
    }


def cause_object(one: Cause) -> dict[str, Json]:
    """One candidate cause of an event."""
    return {
        "cause": one.cause,
        "probability": number(one.probability),
        "consequences": list(one.consequences),
        "evidence": list(one.evidence),
        "would_confirm": list(one.would_confirm),
        "remedy": list(one.remedy),
    }


def event_object(one: Event) -> dict[str, Json]:
    """One event."""
    peak, limit = one.peak, one.limit
    return {
        "kind": one.kind.value,
        "start_s": number(one.start_s),
        "end_s": number(one.end_s),
        "drives": list(one.drives),
        "severity": one.severity.value,
        "peak": None if peak is None else {"quantity": peak.quantity, "value": number(peak.value)},
        "limit": None if limit is None else {"name": limit.name, "value": number(limit.value)},
        "causes": [cause_object(cause) for cause in one.causes],
    }


def _tried_object(tried: Tried) -> dict[str, Json]:
    def pair(span: tuple[float, float] | None) -> Json:
        return None if span is None else [number(span[0]), number(span[1])]

    return {
        "charge_pct": pair(tried.charge_pct),
        "pack_temp_c": pair(tried.pack_temp_c),
        "mass_kg": pair(tried.mass_kg),
        "climbs": tried.climbs,
    }


def limit_object(one: LimitCheck) -> dict[str, Json]:
    """One limit of the setup against what the ride asked of it."""
    return {
        "limit": one.limit,
        "role": one.role.value,
        "set": number(one.set),
        "seen": number(one.seen),
        "window_s": number(one.window_s),
        "seen_10s": number(one.seen_10s),
        "seen_60s": number(one.seen_60s),
        "verdict": one.verdict.value,
        "exercised_pct": number(one.exercised_pct),
        "tried": _tried_object(one.tried),
    }


def climb_object(one: Climb) -> dict[str, Json]:
    """One climb."""
    return {
        "start_s": number(one.start_s),
        "end_s": number(one.end_s),
        "length_m": number(one.length_m),
        "gain_m": number(one.gain_m),
        "grade_pct": estimate_object(one.grade_pct),
        "grade_source": one.grade_source.value,
        "peak_pack_current_a": number(one.peak_pack_current_a),
        "mean_pack_current_a": number(one.mean_pack_current_a),
        "min_voltage_v": number(one.min_voltage_v),
        "margin_to_derate_v": number(one.margin_to_derate_v),
        "top_motor_temp_c": {name: number(value) for name, value in one.top_motor_temp_c},
        "governed_pct": {
            one_drive.drive: {word.value: number(pct) for word, pct in one_drive.parts}
            for one_drive in one.governed
        },
        "limits_touched": list(one.limits_touched),
    }
