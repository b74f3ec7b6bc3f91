"""Spans and window means against closed forms; sums and signs against their definitions."""

from dataclasses import replace

import numpy as np
import pytest
from handmade import clock, make_ride, make_setup, pulse

from analyzer.quantities import (
    WindowMeans,
    braking_is_logged,
    drives_current_a,
    pack_current_a,
    pack_peaks_a,
    phase_braking_a,
    spans_where,
    speed_mps,
    step_s,
    wheel_speed_mps,
    window_mean,
)


def ride_of(t, **channels):
    return make_ride(t, {"left.battery_current_a": 0.0} | channels)


def spans(mask, t, **kwargs):
    found = spans_where(np.asarray(mask, bool), ride_of(t), **kwargs)
    return [(one.start_s, round(one.end_s, 6)) for one in found]


@pytest.mark.parametrize(
    ("stretches", "expected"),
    [
        ([(2, 3)], [(2.0, 3.0)]),
        # Less than 1 s apart: one span; exactly 1 s apart: two (contract, "event spans").
        ([(2, 3), (3.9, 5)], [(2.0, 5.0)]),
        ([(2, 3), (4.0, 5)], [(2.0, 3.0), (4.0, 5.0)]),
        # Under 0.3 s dropped, but only after joining.
        ([(2, 2.2)], []),
        ([(2, 2.3)], [(2.0, 2.3)]),
        ([(2, 2.2), (2.9, 3.0)], [(2.0, 3.0)]),
    ],
)
def test_spans_join_then_drop(stretches, expected):
    t = clock(10)
    mask = sum(pulse(t, a, b, 1.0) for a, b in stretches) > 0
    assert spans(mask, t) == expected


def test_a_span_ends_at_a_hole_in_the_log():
    t = np.concatenate([clock(3), 8 + clock(3)])
    assert spans(np.ones(t.size), t) == [(0.0, 2.95), (8.0, 11.0)]


def test_spans_at_the_edges_and_of_nothing():
    t = clock(2)
    assert spans(np.ones(t.size), t) == [(0.0, 2.0)]
    assert spans(np.zeros(t.size), t) == []
    assert spans_where(np.zeros(0, bool), ride_of(np.zeros(0))) == []


def test_a_sample_stands_for_the_time_to_the_next():
    t = np.array([0.0, 0.1, 0.3, 0.4, 5.0, 5.1])
    assert step_s(ride_of(t)) == pytest.approx([0.1, 0.2, 0.1, 0.0, 0.1, 0.1])


def test_window_mean_of_a_ramp_and_of_a_pulse():
    t = clock(10)
    mean = window_mean(t.copy(), ride_of(t), 2.0)
    # Held samples of a ramp: the mean over the 40 that end with row k is t_k - 0.975 s.
    assert np.isnan(mean[:39]).all()
    assert mean[39:] == pytest.approx(t[39:] - 0.975)
    mean = window_mean(pulse(t, 4.0, 4.5, 30.0), ride_of(t), 1.0)
    assert np.nanmax(mean) == pytest.approx(15.0)


def test_window_mean_weighs_uneven_steps_by_time():
    t = np.array([0.0, 0.2, 0.3, 0.7, 1.0])
    mean = window_mean(np.array([1.0, 2.0, 3.0, 4.0, 5.0]), ride_of(t), 1.0)
    assert mean[3] == pytest.approx((1 * 0.2 + 2 * 0.1 + 3 * 0.4 + 4 * 0.3) / 1.0)


def test_window_mean_is_nan_over_holes_and_missing_values():
    t = np.concatenate([clock(3), 8 + clock(3)])
    mean = window_mean(np.ones(t.size), ride_of(t), 1.0)
    inside = (t >= 8) & (t < 8.9)
    assert np.isnan(mean[inside]).all()
    assert mean[t >= 8.95] == pytest.approx(1.0)
    values = np.ones(60)
    values[30] = np.nan
    mean = window_mean(values, ride_of(clock(3)), 1.0)
    assert np.isnan(mean[30:50]).all()
    assert np.isfinite(mean[50:]).all()


def test_window_of_one_second_on_a_1_hz_log_is_the_sample():
    t = clock(10, 1.0)
    assert window_mean(t**2, ride_of(t), 1.0) == pytest.approx(t**2)


def test_windows_shared_between_channels_give_the_same():
    t, rng = clock(20), np.random.default_rng(0)
    values = rng.normal(size=t.size)
    assert WindowMeans(ride_of(t), 3.0).of(values) == pytest.approx(
        window_mean(values, ride_of(t), 3.0), nan_ok=True
    )


def test_currents_add_up_and_lights_come_on_top():
    # Common practice, no source: battery currents of controllers on one pack add.
    t = clock(5)
    ride = make_ride(t, {"left.battery_current_a": 20.0, "right.battery_current_a": 18.0})
    setup = make_setup(pack={"aux_a": 1.5})
    assert drives_current_a(ride, setup).values == pytest.approx(38.0)
    assert pack_current_a(ride, setup).values == pytest.approx(39.5)


def test_a_drive_without_current_leaves_the_sum_unknown():
    ride = make_ride(clock(5), {"left.battery_current_a": 20.0})
    assert drives_current_a(ride, make_setup()) is None
    with_bms = make_ride(clock(5), {"left.battery_current_a": 20.0, "pack_current_a": 40.0})
    setup = make_setup(pack={"aux_a": 1.0})
    assert drives_current_a(with_bms, setup).values == pytest.approx(39.0)


def test_slow_channels_are_lower_bounds():
    ride = make_ride(clock(5), {"pack_current_a": 10.0}, rate_hz=4.9)
    assert pack_current_a(ride, make_setup()).at_least
    ride = make_ride(clock(5), {"pack_current_a": 10.0}, rate_hz=5.0)
    assert not pack_current_a(ride, make_setup()).at_least


def test_wheel_speed_from_motor_turns():
    # 2857.14 rpm at gear 4.4 on a 0.508 m wheel is 17.272 m/s: textbook, worked in plain numbers.
    ride = make_ride(clock(2), {"left.motor_rpm": 20_000 / 7})
    setup = make_setup(vehicle={"gear_ratio": 4.4, "wheel_diameter_m": 0.508})
    assert wheel_speed_mps(ride, setup, "left").values == pytest.approx(17.272, abs=1e-3)
    assert speed_mps(ride, setup).values == pytest.approx(17.272, abs=1e-3)


def test_braking_that_the_log_clips_is_noticed():
    t = clock(20)
    ride = make_ride(
        t,
        {
            "left.battery_current_a": pulse(t, 0, 10, 8.0),
            "left.phase_current_a": np.where(t < 10, 20.0, -25.0),
            "left.wheel_speed_mps": 7.0,
        },
        drives=("left",),
    )
    from importers.setup_types import Drive

    setup = make_setup(drives=(Drive("left"),))
    assert not braking_is_logged(ride, setup)
    coasting = make_ride(
        t,
        {"left.battery_current_a": pulse(t, 0, 10, 8.0), "left.wheel_speed_mps": 7.0},
        drives=("left",),
    )
    assert braking_is_logged(coasting, setup)


def test_unsigned_phase_current_brakes_while_battery_current_goes_back():
    t = clock(4)
    ride = make_ride(
        t,
        {
            "left.battery_current_a": np.where(t < 2, 8.0, -4.0),
            "left.phase_current_a": np.where(t < 2, 20.0, 15.0),
        },
    )
    assert phase_braking_a(ride, "left") == pytest.approx(np.where(t < 2, -20.0, 15.0))


def test_between_the_slow_readings_of_a_bms_the_drives_currents_tell():
    """A pulse of 2 s that a BMS sees once a second: 40 A, and 1.5 A of lights."""
    time_s = clock(120, 20)
    drawn = np.where((time_s >= 60.3) & (time_s < 62.3), 40.0, 10.0)
    held = (drawn + 1.5)[np.floor(time_s).astype(int) * 20]
    ride = slow_bms(time_s, drawn, held)
    got = pack_peaks_a(ride, make_setup())
    assert got is not None
    assert not got.at_least
    np.testing.assert_allclose(got.values, drawn + 1.5, atol=1e-9)


def test_a_bms_that_sees_another_consumer_is_believed():
    """A heater that switches between 0 and 15 A past the drives."""
    time_s = clock(120, 20)
    heater = np.where(np.floor(time_s / 7) % 2 == 0, 15.0, 0.0)
    held = (10.0 + heater)[np.floor(time_s).astype(int) * 20]
    got = pack_peaks_a(slow_bms(time_s, np.full(time_s.size, 10.0), held), make_setup())
    assert got is not None
    assert got.at_least
    np.testing.assert_allclose(got.values, held)


def slow_bms(time_s, drawn, held):
    """Two drives at 20 Hz, the pack's current at 1 Hz, held in between."""
    ride = make_ride(
        time_s,
        {"left.battery_current_a": drawn / 2, "right.battery_current_a": drawn / 2,
         "pack_current_a": held},
        rate_hz=20.0,
    )  # fmt: skip
    (source,) = ride.sources
    channels = tuple(
        replace(one, rate_hz=1.0) if one.channel == "pack_current_a" else one
        for one in source.channels
    )
    return replace(ride, sources=(replace(source, channels=channels),))
