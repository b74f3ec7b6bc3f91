"""Machine output against the contract's section 3: every key, no NaN, nulls where unknown."""

import json
from dataclasses import replace

import pytest
from made.ride_results import bare_result, made_result

from analyzer.estimate import Estimate
from analyzer.words import BalanceVerdict
from reports.json_out import look_json, ride_json

PACK = {
    "resistance_10s_ohm",
    "resistance_10s_25c_ohm",
    "resistance_instant_ohm",
    "temperature_c",
    "rest_voltage_start_v",
    "rest_voltage_end_v",
    "state_of_charge_start_pct",
    "state_of_charge_end_pct",
    "capacity_ah",
}
KEYS = {
    "": {"schema", "ride", "pack", "balance", "events", "limits", "not_checked", "climbs", "notes"},
    "ride": {
        "start",
        "duration_s",
        "distance_m",
        "energy_out_wh",
        "energy_back_wh",
        "charge_out_ah",
        "charge_back_ah",
        "drives",
        "setup",
        "sources",
    },
    "source": {
        "file",
        "role",
        "rows",
        "rows_dropped",
        "rate_hz",
        "clock_offset_s",
        "clock_drift_ppm",
        "channels",
        "problems",
    },
    "channel": {"header", "channel", "unit", "sign", "rate_hz", "sure"},
    "balance": {"shares", "speed_ratio", "in_force", "verdict", "causes"},
    "event": {"kind", "start_s", "end_s", "drives", "severity", "peak", "limit", "causes"},
    "cause": {"cause", "probability", "consequences", "evidence", "would_confirm", "remedy"},
    "limit": {
        "limit",
        "role",
        "set",
        "seen",
        "window_s",
        "seen_10s",
        "seen_60s",
        "verdict",
        "exercised_pct",
        "tried",
    },
    "climb": {
        "start_s",
        "end_s",
        "length_m",
        "gain_m",
        "grade_pct",
        "grade_source",
        "peak_pack_current_a",
        "mean_pack_current_a",
        "min_voltage_v",
        "margin_to_derate_v",
        "top_motor_temp_c",
        "governed_pct",
        "limits_touched",
    },
}
"""Copied by hand from the contract's section 3."""


def read(result):
    def refuse(text):
        raise AssertionError(f"{text} is not JSON")

    return json.loads(ride_json(result), parse_constant=refuse)


@pytest.mark.parametrize("result", [made_result(), made_result(("motor",)), bare_result()])
def test_every_key_is_always_there(result):
    data = read(result)
    assert data["schema"] == "hillproof.ride/1"
    assert set(data) == KEYS[""]
    assert set(data["ride"]) == KEYS["ride"]
    assert set(data["pack"]) == PACK
    assert set(data["balance"]) == KEYS["balance"]
    for source in data["ride"]["sources"]:
        assert set(source) == KEYS["source"]
        assert all(set(one) == KEYS["channel"] for one in source["channels"])
    for name in ("event", "limit", "climb"):
        assert all(set(one) == KEYS[name] for one in data[f"{name}s"])
    for event in data["events"]:
        assert all(set(one) == KEYS["cause"] for one in event["causes"])


def test_values_are_those_of_the_result():
    data = read(made_result())
    assert data["ride"]["start"] == "2031-05-04T09:31:00+02:00"
    assert data["pack"]["resistance_10s_ohm"] == {"value": 0.079, "low": 0.077, "high": 0.081}
    assert data["pack"]["capacity_ah"] is None
    assert data["events"][0]["peak"] == {"quantity": "pack_current_a", "value": -13.6}
    assert data["balance"]["shares"]["left"]["drive_pct"]["value"] == 50.8
    assert data["balance"]["in_force"]["left"]["battery_drive_a"] is None
    assert data["limits"][0]["tried"]["charge_pct"] == [88.0, 97.0]
    assert data["climbs"][0]["governed_pct"]["left"] == {"rider": 92.0, "battery_limit": 8.0}


def test_with_one_drive_all_of_balance_but_in_force_is_null():
    balance = read(made_result(("motor",)))["balance"]
    assert balance.pop("in_force") == {
        "motor": dict.fromkeys(
            ("battery_drive_a", "phase_drive_a", "battery_brake_a", "phase_brake_a")
        )
    }
    assert set(balance.values()) == {None}


def test_shares_are_null_without_enough_load():
    full = made_result()
    little = replace(full.balance, verdict=BalanceVerdict.NOT_ENOUGH_LOAD)
    balance = read(replace(full, balance=little))["balance"]
    assert balance["shares"] is None
    assert balance["verdict"] == "not_enough_load"


def test_what_is_not_finite_becomes_null():
    full = made_result()
    pack = replace(
        full.pack, capacity_ah=Estimate(float("nan"), 1.0, 2.0), temperature_c=float("inf")
    )
    data = read(replace(full, pack=pack))["pack"]
    assert data["capacity_ah"] is None
    assert data["temperature_c"] is None


def test_no_whole_path_leaves():
    text = ride_json(made_result())
    assert "/home/" not in text
    assert '"file": "ride.csv"' in text


def test_look_has_its_own_schema():
    data = json.loads(look_json(made_result().ride.sources))
    assert data["schema"] == "hillproof.look/1"
    assert set(data) == {"schema", "sources"}
    assert data["sources"][0]["channels"][1]["sign"] == -1
