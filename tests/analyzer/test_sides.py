"""Left against right: shares known by construction, the contract's verdicts, causes planted."""

import numpy as np
import pytest
from handmade import clock, make_ride, make_setup

from analyzer.blocks import Blocks
from analyzer.events import Event
from analyzer.in_force import find_in_force
from analyzer.sides import find_balance, find_imbalance
from analyzer.words import BalanceVerdict, EventKind, Severity
from importers.setup_types import Drive

T = clock(600)
LOAD = 16 * np.clip(np.sin(T / 20) + 0.3 * np.sin(T / 3), 0, 1)
"""What a side would draw at its share of one half [A]."""
LIMITS = {"battery_drive_a": 20.0, "battery_brake_a": 8.0, "phase_drive_a": 50.0}


def ride(left, right, *, speeds=(6.0, 6.0), more=None, seed=1, noise=0.1):
    rng = np.random.default_rng(seed)
    channels = {
        "left.battery_current_a": left + rng.normal(0, noise, T.size),
        "right.battery_current_a": right + rng.normal(0, noise, T.size),
        "left.wheel_speed_mps": speeds[0] + rng.normal(0, 0.01, T.size),
        "right.wheel_speed_mps": speeds[1] + rng.normal(0, 0.01, T.size),
    }
    return make_ride(T, channels | (more or {}))


def setup(left=None, right=None):
    return make_setup(
        drives=(
            Drive("left", **(LIMITS | (left or {}))),
            Drive("right", **(LIMITS | (right or {}))),
        )
    )


def judged(made, build=None, **kwargs):
    build = build or setup()
    return find_balance(made, build, find_in_force(made, build), **kwargs)


@pytest.mark.parametrize(
    ("left", "verdict", "severity"),
    [
        (0.50, BalanceVerdict.EVEN, None),
        (0.528, BalanceVerdict.EVEN, None),
        (0.54, BalanceVerdict.UNEVEN, Severity.NOTE),
        (0.56, BalanceVerdict.UNEVEN, Severity.WATCH),
        (0.44, BalanceVerdict.UNEVEN, Severity.WATCH),
    ],
)
def test_shares_and_verdict(left, verdict, severity):
    made = ride(2 * left * LOAD, 2 * (1 - left) * LOAD)
    balance = judged(made)
    share = balance.shares[0].drive_pct
    assert share.value == pytest.approx(100 * left, abs=0.3)
    assert share.low < 100 * left < share.high
    assert balance.shares[0].drive_pct.value + balance.shares[1].drive_pct.value == pytest.approx(
        100.0
    )
    assert (balance.verdict, balance.severity) == (verdict, severity)


def test_swapping_the_sides_swaps_the_answer():
    a, b = (
        judged(ride(1.12 * LOAD, 0.88 * LOAD, noise=0)),
        judged(ride(0.88 * LOAD, 1.12 * LOAD, noise=0)),
    )
    for here, there in ((0, 1), (1, 0)):
        assert a.shares[here].drive_pct.value == pytest.approx(b.shares[there].drive_pct.value)
    assert a.verdict is b.verdict


def test_only_common_load_above_a_quarter_counts():
    # 40 A of limits together: below 10 A nothing is compared.
    light = judged(ride(np.full(T.size, 5.5), np.full(T.size, 3.5)))
    assert light.verdict is BalanceVerdict.NOT_ENOUGH_LOAD
    assert light.shares[0].drive_pct is None
    short = np.where(T < 14, 12.0, 1.0)
    assert judged(ride(short, short)).verdict is BalanceVerdict.NOT_ENOUGH_LOAD
    longer = np.where(T < 16.5, 12.0, 1.0)
    assert judged(ride(longer, longer)).verdict is BalanceVerdict.EVEN


def test_one_drive_has_no_balance():
    build = make_setup(drives=(Drive("left"),))
    made = make_ride(T, {"left.battery_current_a": LOAD}, drives=("left",))
    assert find_balance(made, build, ()) is None


def test_three_drives_share_by_thirds():
    build = make_setup(drives=tuple(Drive(n, battery_drive_a=20.0) for n in "abc"))
    made = make_ride(T, {f"{n}.battery_current_a": LOAD for n in "abc"}, drives=tuple("abc"))
    balance = find_balance(made, build, ())
    assert [s.drive_pct.value for s in balance.shares] == pytest.approx([100 / 3] * 3)
    assert balance.verdict is BalanceVerdict.EVEN


def test_what_happened_during_a_fault_is_left_out():
    one_sided = np.where((T > 100) & (T < 450), 0.6, 1.0)
    made = ride(LOAD, LOAD * one_sided)
    loss = Event(EventKind.CUTOUT, 100.0, 450.0, ("right",), Severity.ACT)
    assert judged(made).verdict is BalanceVerdict.UNEVEN
    assert judged(made, at_fault=(loss,)).verdict is BalanceVerdict.EVEN


def test_braking_is_told_apart_from_driving():
    brakes = np.where((T % 40) > 30, -1.0, 0.0)
    made = ride(LOAD * (brakes == 0) + 6.6 * brakes, LOAD * (brakes == 0) + 5.4 * brakes)
    balance = judged(made)
    assert balance.shares[0].drive_pct.value == pytest.approx(50.0, abs=0.3)
    assert balance.shares[0].brake_pct.value == pytest.approx(55.0, abs=0.3)


def test_a_setting_not_in_force_comes_first():
    demand = np.clip(60 + 60 * np.sin(T / 23), 0, 100)
    speed = 6 + 2 * np.sin(T / 37)
    want = 0.5 * demand * speed / 8
    channels = {}
    for name, limit in (("left", 20.0), ("right", 15.0)):
        battery = np.minimum(want, limit)
        channels[f"{name}.battery_current_a"] = battery
        channels[f"{name}.phase_current_a"] = battery / (speed / 11)
        channels[f"{name}.wheel_speed_mps"] = speed
    made = make_ride(T, channels | {"throttle_pct": demand})
    balance = judged(made)
    assert balance.verdict is BalanceVerdict.UNEVEN
    assert balance.causes[0].cause == "setting_not_in_force"
    assert balance.causes[0].probability > 0.7
    assert any("15.0 A" in line and "20 A" in line for line in balance.causes[0].evidence)
    assert sum(one.probability for one in balance.causes) == pytest.approx(1.0)
    other = judged(made, setup(right={"battery_drive_a": 15.0}))
    assert other.causes[0].cause == "battery_limit_differs"


def test_different_demands_come_first():
    channels = {"left.throttle_pct": 40 + LOAD, "right.throttle_pct": 32 + LOAD}
    balance = judged(ride(1.1 * LOAD, 0.9 * LOAD, more=channels))
    assert balance.causes[0].cause == "demand_differs"


def test_a_tyre_shows_in_the_speeds():
    balance = judged(ride(1.1 * LOAD, 0.9 * LOAD, speeds=(6.0, 6.2)))
    assert balance.speed_ratio.value == pytest.approx(6.0 / 6.2, abs=0.002)
    assert balance.causes[0].cause == "gearing_or_tyre_differs"


def test_a_constant_ratio_names_no_single_culprit():
    # causes.md: a ratio constant over all loads, speeds equal: sensor gain or motor constant.
    balance = judged(ride(1.1 * LOAD, 0.9 * LOAD))
    assert {one.cause for one in balance.causes[:2]} == {
        "current_sensor_gain",
        "motor_constant_differs",
    }
    assert balance.causes[0].probability < 0.6


def test_uneven_stretches_are_events_and_even_rides_have_none():
    made = ride(1.12 * LOAD, 0.88 * LOAD)
    events = find_imbalance(made, setup(), judged(made))
    assert events
    assert all(one.kind is EventKind.IMBALANCE for one in events)
    assert all(LOAD[(one.start_s <= T) & (one.end_s > T)].min() > 3.0 for one in events)
    even = ride(LOAD, LOAD)
    assert find_imbalance(even, setup(), judged(even)) == []


def test_block_means():
    made = make_ride(clock(10), {"left.battery_current_a": np.arange(200.0)})
    blocks = Blocks(made)
    assert blocks.size == 20
    assert blocks.mean(np.arange(200.0)) == pytest.approx(4.5 + 10 * np.arange(20))
    assert blocks.expand(np.arange(20), 200).tolist() == np.repeat(np.arange(20), 10).tolist()
