"""The shape of `ride --json`: every key of the contract's section 3, everywhere, and its words."""

import json
from pathlib import Path

import pytest

from analyzer.words import (
    BalanceVerdict,
    CutoutCause,
    EventKind,
    Governor,
    GradeSource,
    ImbalanceCause,
    LimitRole,
    Severity,
    Verdict,
)  # fmt: skip
from hillproof.jobs import analyse_ride
from reports.json_out import ride_json

SAMPLES = Path(__file__).parents[2] / "sample_logs"
ESTIMATE = {"value", "low", "high"}
RIDE = {
    "start", "duration_s", "distance_m", "energy_out_wh", "energy_back_wh", "charge_out_ah",
    "charge_back_ah", "drives", "setup", "sources",
}  # fmt: skip
SOURCE = {
    "file", "role", "rows", "rows_dropped", "rate_hz", "clock_offset_s", "clock_drift_ppm",
    "channels", "problems",
}  # fmt: skip
PACK = {
    "resistance_10s_ohm", "resistance_10s_25c_ohm", "resistance_instant_ohm", "temperature_c",
    "rest_voltage_start_v", "rest_voltage_end_v", "state_of_charge_start_pct",
    "state_of_charge_end_pct", "capacity_ah",
}  # fmt: skip
EVENT = {"kind", "start_s", "end_s", "drives", "severity", "peak", "limit", "causes"}
CAUSE = {"cause", "probability", "consequences", "evidence", "would_confirm", "remedy"}
LIMIT = {
    "limit", "role", "set", "seen", "window_s", "seen_10s", "seen_60s", "verdict",
    "exercised_pct", "tried",
}  # fmt: skip
CLIMB = {
    "start_s", "end_s", "length_m", "gain_m", "grade_pct", "grade_source",
    "peak_pack_current_a", "mean_pack_current_a", "min_voltage_v", "margin_to_derate_v",
    "top_motor_temp_c", "governed_pct", "limits_touched",
}  # fmt: skip
CAUSE_WORDS = {*CutoutCause, *Governor, *ImbalanceCause}


@pytest.fixture(scope="module")
def told():
    logs = [str(one) for one in sorted((SAMPLES / "hill").glob("*.csv"))]
    result = analyse_ride(logs, str(SAMPLES / "setup.toml"))
    return json.loads(ride_json(result))


def is_estimate(one):
    return one is None or (set(one) == ESTIMATE and one["value"] is not None)


def test_the_top_and_the_ride(told):
    assert set(told) == {
        "schema", "ride", "pack", "balance", "events", "limits", "not_checked", "climbs", "notes",
    }  # fmt: skip
    assert set(told["ride"]) == RIDE
    for source in told["ride"]["sources"]:
        assert set(source) == SOURCE
        for channel in source["channels"]:
            assert set(channel) == {"header", "channel", "unit", "sign", "rate_hz", "sure"}
            assert 0 <= channel["sure"] <= 1
            assert channel["sign"] in (1, -1)


def test_the_pack_is_estimates(told):
    assert set(told["pack"]) == PACK
    assert all(is_estimate(v) for k, v in told["pack"].items() if k != "temperature_c")


def test_the_balance(told):
    balance = told["balance"]
    assert set(balance) == {"shares", "speed_ratio", "in_force", "verdict", "causes"}
    assert balance["verdict"] in set(BalanceVerdict)
    for share in balance["shares"].values():
        assert set(share) == {"drive_pct", "brake_pct"}
    for limits in balance["in_force"].values():
        assert set(limits) == {
            "battery_drive_a", "phase_drive_a", "battery_brake_a", "phase_brake_a",
        }  # fmt: skip
        assert all(is_estimate(one) for one in limits.values())
    assert sum(one["probability"] for one in balance["causes"]) == pytest.approx(1, abs=1e-6)


def test_events_use_the_words_and_causes_sum_to_one(told):
    assert told["events"]
    for event in told["events"]:
        assert set(event) == EVENT
        assert event["kind"] in set(EventKind)
        assert event["severity"] in set(Severity)
        assert event["start_s"] <= event["end_s"]
        if event["causes"]:
            assert sum(one["probability"] for one in event["causes"]) == pytest.approx(1, abs=1e-6)
            assert "unknown" in {one["cause"] for one in event["causes"]}
        for cause in event["causes"]:
            assert set(cause) == CAUSE
            assert cause["cause"] in CAUSE_WORDS
        chances = [one["probability"] for one in event["causes"]]
        assert chances == sorted(chances, reverse=True)


def test_limits_climbs_and_the_rest(told):
    for limit in told["limits"]:
        assert set(limit) == LIMIT
        assert limit["role"] in set(LimitRole)
        assert limit["verdict"] in set(Verdict)
        assert set(limit["tried"]) == {"charge_pct", "pack_temp_c", "mass_kg", "climbs"}
    for climb in told["climbs"]:
        assert set(climb) == CLIMB
        assert is_estimate(climb["grade_pct"])
        assert climb["grade_source"] in set(GradeSource)
    for one in told["not_checked"]:
        assert set(one) == {"what", "missing"}
    for one in told["notes"]:
        assert set(one) == {"about", "text"}


def test_the_samples_cutout_is_found_with_its_cause(told):
    # sample_logs/README.md: at 332.5 s the BMS opened on both drives' current.
    cutouts = [one for one in told["events"] if one["kind"] == "cutout"]
    assert len(cutouts) == 1
    assert abs(cutouts[0]["start_s"] - 332.5) < 1.0
    assert cutouts[0]["drives"] == ["left", "right"]
    assert cutouts[0]["causes"][0]["cause"] == "bms_overcurrent_discharge"


def test_the_samples_uneven_side_is_a_setting_not_in_force(told):
    # The truth: right works with 50 A of phase current, the setup says 58 A; left carries 54 %.
    assert told["balance"]["shares"]["left"]["drive_pct"]["low"] > 52
    assert told["balance"]["causes"][0]["cause"] == "setting_not_in_force"
    plateau = told["balance"]["in_force"]["right"]["phase_drive_a"]["value"]
    assert plateau == pytest.approx(50, rel=0.02)
