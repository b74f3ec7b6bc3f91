"""Rows that were written but not measured, in a made log whose truth is known."""

import numpy as np
import pytest

from importers.stale_rows import stale_rows

N = 2000
TIME_S = np.arange(N) * 0.05


def columns(drive: str = "") -> dict[str, np.ndarray]:
    rng = np.random.default_rng(2)
    moving = np.where((TIME_S % 50) < 40, 1.0, 0.0)
    amps = np.round(moving * (20 + 5 * np.sin(TIME_S) + rng.normal(0, 0.3, N)), 1)
    return {
        f"{drive}battery_current_a": amps,
        f"{drive}battery_voltage_v": np.round(58 - 0.1 * amps, 1),
        f"{drive}motor_rpm": np.round(moving * (900 + 50 * np.sin(TIME_S / 3))),
        f"{drive}motor_temp_c": np.round(30 + TIME_S / 20),
    }


def test_a_clean_log_with_stops_stays_as_it_is() -> None:
    out, told = stale_rows(TIME_S, columns())
    assert not told
    assert all(np.array_equal(out[name], values) for name, values in columns().items())


def test_three_channels_that_stand_still_to_the_last_digit_are_frozen() -> None:
    spoilt = columns()
    del spoilt["motor_rpm"]
    for values in spoilt.values():
        values[400:500] = values[399]
    out, told = stale_rows(TIME_S, spoilt)
    assert all(np.isnan(values[400:500]).all() for values in out.values())
    assert len(told) == 1


def test_zeros_at_connect_are_missing() -> None:
    spoilt = columns()
    for values in spoilt.values():
        values[:30] = 0.0
    out, told = stale_rows(TIME_S, spoilt)
    assert all(np.isnan(values[:30]).all() for values in out.values())
    assert np.isfinite(out["motor_temp_c"][30:]).all()
    assert "30 rows are zeros and defaults" in told[0]


@pytest.mark.parametrize("default_c", [0.0, 25.0, -40.0])
@pytest.mark.parametrize("volts", [0.0, np.nan])
def test_defaults_at_connect_are_missing_whatever_they_are(default_c: float, volts: float) -> None:
    """The voltage may be gone before: 0 V is no voltage of a pack."""
    spoilt = columns()
    spoilt["controller_temp_c"] = np.round(32 + TIME_S / 30)
    for name, values in spoilt.items():
        values[:30] = 0.0
        if name.endswith("_temp_c"):
            values[:30] = default_c
    spoilt["battery_voltage_v"][:30] = volts
    out, told = stale_rows(TIME_S, spoilt)
    assert all(np.isnan(values[:30]).all() for values in out.values())
    assert all(np.isfinite(values[30:]).all() for values in out.values())
    assert len(told) == 1


def test_a_bus_that_lost_its_pack_keeps_its_temperatures() -> None:
    spoilt = columns()
    for name, values in spoilt.items():
        if not name.endswith("_temp_c"):
            values[900:1000] = 0.0
    out, told = stale_rows(TIME_S, spoilt)
    assert told == []
    assert np.array_equal(out["motor_temp_c"], columns()["motor_temp_c"])
    assert (out["battery_voltage_v"][900:1000] == 0).all()


def test_repeats_after_a_lost_link_are_missing_on_that_side_only() -> None:
    spoilt = columns("left.") | columns("right.")
    for name, values in spoilt.items():
        if name.startswith("left."):
            values[400:460] = values[399]
    out, told = stale_rows(TIME_S, spoilt)
    assert np.isnan(out["left.battery_current_a"][400:460]).all()
    assert np.isfinite(out["left.battery_current_a"][:400]).all()
    assert np.isfinite(out["right.battery_current_a"]).all()
    assert "of left repeat" in told[0]


def test_a_slow_logger_that_holds_its_values_is_not_frozen() -> None:
    held = {name: np.repeat(values[::20], 20) for name, values in columns().items()}
    assert not stale_rows(TIME_S, held)[1]
