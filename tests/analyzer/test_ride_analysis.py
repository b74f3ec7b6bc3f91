"""The whole analysis: what must not matter does not, and no ride makes it fall over."""

import numpy as np
import pandas as pd
import pytest
from handmade import clock, make_ride, make_setup

from analyzer.ride_analysis import RideResult, analyse_ride
from analyzer.words import Severity
from importers.setup_types import Drive

DRIVE = {
    "phase_drive_a": 60.0,
    "battery_drive_a": 25.0,
    "battery_brake_a": 8.0,
    "derate_from_v": 48.0,
    "stop_at_v": 43.0,
    "motor_derate_c": 100.0,
    "motor_stop_c": 120.0,
}
BUILD = {
    "bms": {
        "discharge_rating_a": 36.0,
        "charge_rating_a": 16.0,
        "discharge_trip_a": 60.0,
        "discharge_trip_delay_s": 1.0,
    },
    "pack": {"charge_rating_a": 12.0, "aux_a": 1.0},
    "vehicle": {"gear_ratio": 4.4, "wheel_diameter_m": 0.5, "mass_kg": 165.0},
}


def two_drives():
    return make_setup(drives=(Drive("left", **DRIVE), Drive("right", **DRIVE)), **BUILD)


def channels(t, *, left=1.1, right=0.9):
    """A hilly ride in closed form: demand, two currents, sag of 70 mΩ, a warming motor."""
    demand = np.clip(55 * np.sin(t / 31) + 40 * np.sin(t / 11), -30, 100)
    speed = 5 + 2 * np.sin(t / 47)
    made = {"throttle_pct": demand, "pack_temp_c": 18 + t / 300}
    total = np.full(t.size, 1.0)
    for name, part in (("left", left), ("right", right)):
        battery = part * np.clip(0.035 * demand * speed, -8, 22)
        total = total + battery
        made[f"{name}.battery_current_a"] = battery
        made[f"{name}.phase_current_a"] = battery * 11 / speed
        made[f"{name}.wheel_speed_mps"] = speed
        made[f"{name}.motor_temp_c"] = 30 + 40 * (1 - np.exp(-t / 400))
    charge = np.cumsum(total) * (t[1] - t[0] if t.size > 1 else 1.0) / 3600
    made["pack_voltage_v"] = 53.0 - 0.35 * charge - 0.07 * total
    return made


def told(result: RideResult):
    """Everything decided, without the last digits."""
    events = [(e.kind.value, e.severity.value, round(e.start_s), e.flavour) for e in result.events]
    limits = [(one.limit, one.verdict.value) for one in result.limits]
    return events, limits, result.balance.verdict, [f.subject for f in result.findings]


def test_twice_the_sampling_rate_changes_no_decision():
    slow = analyse_ride(make_ride(clock(900, 20), channels(clock(900, 20))), two_drives())
    fast = analyse_ride(make_ride(clock(900, 40), channels(clock(900, 40))), two_drives())
    assert told(slow) == told(fast)
    for a, b in zip(slow.limits, fast.limits, strict=True):
        assert a.seen == pytest.approx(b.seen, rel=0.01, abs=0.05)


def test_swapping_left_and_right_swaps_the_answer():
    t = clock(900)
    a = analyse_ride(make_ride(t, channels(t)), two_drives())
    b = analyse_ride(make_ride(t, channels(t, left=0.9, right=1.1)), two_drives())
    assert a.balance.shares[0].drive_pct.value == pytest.approx(b.balance.shares[1].drive_pct.value)
    swap = {"left": "right", "right": "left"}
    seen = {one.limit: one.seen for one in b.limits}
    for one in a.limits:
        parts = [swap.get(part, part) for part in one.limit.split(".")]
        assert one.seen == pytest.approx(seen[".".join(parts)])


def test_nothing_given_is_changed_and_the_same_comes_out_twice():
    t = clock(300)
    ride, setup = make_ride(t, channels(t)), two_drives()
    before = ride.table.copy(deep=True)
    first, second = analyse_ride(ride, setup), analyse_ride(ride, setup)
    pd.testing.assert_frame_equal(ride.table, before)
    assert told(first) == told(second)
    assert first.pack == second.pack
    assert first.balance == second.balance


def test_later_by_an_hour_is_the_same_ride():
    t = clock(300)
    here = analyse_ride(make_ride(t, channels(t)), two_drives())
    later = analyse_ride(make_ride(t + 3600.0, channels(t)), two_drives())
    assert [e.start_s + 3600 for e in here.events] == pytest.approx(
        [e.start_s for e in later.events]
    )


def blank(t, made):
    """Ten rides that logs really bring."""
    n = t.size
    some = np.ones(n, bool)
    some[n // 3 : n // 2] = False
    yield "complete", made
    yield "no currents", {k: v for k, v in made.items() if "current" not in k}
    yield "no voltage", {k: v for k, v in made.items() if "voltage" not in k}
    yield "no speed", {k: v for k, v in made.items() if "speed" not in k}
    yield "no demand", {k: v for k, v in made.items() if "throttle" not in k}
    yield "only voltage", {"pack_voltage_v": made["pack_voltage_v"]}
    yield "one side only", {k: v for k, v in made.items() if not k.startswith("right")}
    yield "NaN stretches", {k: np.where(some, v, np.nan) for k, v in made.items()}
    yield (
        "one side ends",
        {
            k: np.where(some | (t < t[n // 3]), v, np.nan) if k.startswith("right") else v
            for k, v in made.items()
        },
    )
    yield "constant", {k: np.full(n, float(v[0])) for k, v in made.items()}
    yield "zeros", {k: np.zeros(n) for k in made}
    yield "huge", {k: v * 1e6 for k, v in made.items()}


@pytest.mark.parametrize(
    ("seconds", "rate_hz"), [(0.1, 20.0), (10.0, 1.0), (30.0, 100.0), (600.0, 0.5)]
)
def test_no_ride_makes_it_fall_over(seconds, rate_hz):
    t = clock(seconds, rate_hz)
    for name, made in blank(t, channels(t)):
        for setup in (two_drives(), make_setup(drives=(Drive("left"),)), make_setup()):
            drives = tuple(d for d in setup.drive_names if any(c.startswith(d) for c in made))
            ride = make_ride(t, made, drives=drives)
            result = analyse_ride(ride, setup)
            assert result.totals.duration_s == pytest.approx(t[-1] - t[0]), name
            assert all(e.start_s <= e.end_s for e in result.events), name
            assert len(result.in_force) == len(setup.drives), name


def test_a_whole_day_every_five_seconds():
    t = clock(86_400, 0.2)
    result = analyse_ride(make_ride(t, channels(t)), two_drives())
    assert result.totals.duration_s == pytest.approx(86_395)


def test_holes_and_uneven_steps():
    t = clock(600)
    keep = np.ones(t.size, bool)
    keep[2000:2600] = keep[5000:5003] = keep[9000:9200] = False
    made = {k: v[keep] for k, v in channels(t).items()}
    result = analyse_ride(make_ride(t[keep], made), two_drives())
    assert sum(e.kind == "log_gap" for e in result.events) == 2


def test_normal_riding_is_silent():
    # Half a limit, sides even, pack half full: nothing to watch, nothing to act on.
    t = clock(900)
    calm = channels(t, left=0.5, right=0.5)
    result = analyse_ride(make_ride(t, calm), two_drives())
    loud = [e for e in result.events if e.severity is not Severity.NOTE]
    assert loud == []
    assert {f.severity for f in result.findings} <= {Severity.NOTE}
