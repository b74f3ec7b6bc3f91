"""Thinning a long ride: what happened is still there, in fewer rows."""

import numpy as np
import pandas as pd

from importers.thin_rows import thinned_rows


def ride() -> pd.DataFrame:
    rng = np.random.default_rng(5)
    time_s = np.arange(60_000) * 0.01
    demand = np.repeat(rng.choice([0.0, 20.0, 35.0], 120), 500)
    amps = demand + 4 * np.sin(time_s / 20) + rng.normal(0, 0.1, time_s.size)
    amps[31_234:31_236] = -55.0  # a spike of 20 ms
    volts = 58 - 0.08 * amps + rng.normal(0, 0.02, time_s.size)
    return pd.DataFrame(
        {"time_s": time_s, "left.battery_current_a": amps, "left.battery_voltage_v": volts}
    )


def test_spikes_steps_and_sums_survive() -> None:
    whole = ride()
    rows = thinned_rows(whole)
    thin = whole.iloc[rows]
    assert rows.size < 0.4 * len(whole)
    assert thin["left.battery_current_a"].min() == -55.0
    assert (thin["left.battery_current_a"] == -55.0).sum() == 2
    assert np.diff(thin["time_s"]).max() < 0.2
    # charge and energy by the trapezoid rule, thinned against whole
    for channel in ("left.battery_current_a", "left.battery_voltage_v"):
        sums = [np.trapezoid(one[channel], one["time_s"]) for one in (whole, thin)]
        assert abs(sums[0] - sums[1]) < 2e-4 * abs(sums[0])
    steps = np.flatnonzero(np.abs(np.diff(whole["left.battery_current_a"])) > 5)
    assert np.isin(steps, rows).all()


def test_slow_logs_are_left_alone() -> None:
    slow = ride().iloc[::10].reset_index(drop=True)
    assert thinned_rows(slow).size == len(slow)


def test_gaps_keep_their_edges() -> None:
    whole = ride()
    holed = whole[(whole["time_s"] < 200) | (whole["time_s"] > 260)].reset_index(drop=True)
    thin = holed.iloc[thinned_rows(holed)]
    edges = thin["time_s"].to_numpy()
    at = int(np.argmax(np.diff(edges)))
    assert edges[at] == 199.99
    assert edges[at + 1] == 260.01


def test_noise_and_a_coarse_last_digit_are_no_events() -> None:
    """A wheel's speed in whole turns and a voltage whose noise is a hundredth of its range."""
    whole = ride()
    turns = 400 + 100 * np.sin(whole["time_s"] / 7)
    noise = np.random.default_rng(6).normal(0, 0.03, len(whole))
    whole = whole.assign(
        **{"left.motor_rpm": turns.round(0), "pack_voltage_v": 57 - whole["time_s"] / 300 + noise}
    )
    whole.loc[40_000:40_002, "pack_voltage_v"] = 31.0  # a collapse of 30 ms
    rows = thinned_rows(whole)
    assert rows.size < 0.4 * len(whole)
    assert (whole["pack_voltage_v"].to_numpy()[rows] == 31.0).sum() == 3
