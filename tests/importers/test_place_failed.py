"""A ride in which one side failed is one ride: its logs are placed by what still tells the road.

Truth: both logs were made with one clock. A motor without its belt turns as fast as the demand
lets it and draws its no-load current (the trade's, causes.md).
"""

import numpy as np
import pytest
from probe import ask, losing
from ride_logs import log_of, made_ride

from importers.clocks import ClockFit, fit_clock
from importers.errors import LogError
from importers.place_logs import place_logs, signals_of, without_idling

BROKE_S, TRIED_S = 165.0, 180.0


def road_mps(time_s: np.ndarray) -> np.ndarray:
    """Pull away, roll steadily, go a little faster; from 165 s on roll out to a stop."""
    rolls = 5.6 * (1 - np.exp(-np.clip(time_s - 12.0, 0, None) / 2.5))
    faster = 3.0 * (1 - np.exp(-np.clip(time_s - 155.0, 0, None) / 6.0))
    return np.clip(rolls + faster - 2.6 * np.clip(time_s - BROKE_S, 0, None), 0, None)


def drive(rng: np.random.Generator, name: str, *, broken: bool):
    time_s = np.arange(0.0, 210.0, 0.1)
    speed = road_mps(time_s)
    demand = np.where(np.gradient(speed, 0.1) > 0.05, 60.0, 12.0) * (speed > 0.05)
    amps = demand / 2.0
    if broken:
        alone = (time_s > BROKE_S) & (time_s < BROKE_S + 3) | (time_s > TRIED_S)
        demand = np.where(alone, 45.0, np.where(time_s > BROKE_S, 0.0, demand))
        speed = np.where(alone, 11.0, np.where(time_s > BROKE_S, 0.0, speed))
        amps = np.where(alone, 0.8, np.where(time_s > BROKE_S, 0.0, amps))
    columns = {
        "wheel_speed_mps": speed + rng.normal(0, 0.02, time_s.size),
        "battery_current_a": amps + rng.normal(0, 0.1, time_s.size),
        "throttle_pct": demand,
    }
    return log_of(time_s, columns, file=f"{name}.csv", role=name)


def track(rng: np.random.Generator):
    time_s = np.arange(0.0, 210.0)
    speed = road_mps(time_s) + rng.normal(0, 0.1, time_s.size)
    return log_of(time_s, {"gps_speed_mps": np.clip(speed, 0, None)}, file="gps.csv", role="gps")


@pytest.mark.parametrize("seed", range(4))
def test_a_track_is_placed_by_the_side_that_still_turns_with_the_road(seed: int) -> None:
    rng = np.random.default_rng(seed)
    tables = [drive(rng, "left", broken=True), track(rng), drive(rng, "right", broken=False)]
    _, placed, _ = place_logs(tables, ["left", "gps", "right"], 0)
    assert placed.fit is not None
    assert placed.offset_s == pytest.approx(0.0, abs=0.3)


@pytest.mark.parametrize("seed", range(4))
def test_where_the_only_belt_is_gone_the_motor_says_nothing_of_the_road(seed: int) -> None:
    rng = np.random.default_rng(seed)
    tables = [drive(rng, "rear", broken=True), track(rng)]
    _, placed = place_logs(tables, ["rear", "gps"], 0)
    assert placed.fit is not None
    assert placed.offset_s == pytest.approx(0.0, abs=0.3)


def test_another_ride_is_refused_all_the_same() -> None:
    rng = np.random.default_rng(9)
    away = track(rng)
    speed = np.roll(away.columns["gps_speed_mps"], 90) * (1 + np.sin(away.time_s / 9.0))
    other = log_of(away.time_s, {"gps_speed_mps": speed}, file="gps.csv", role="gps")
    with pytest.raises(LogError, match="does not belong to the ride"):
        place_logs([drive(rng, "rear", broken=True), other], ["rear", "gps"], 0)


def test_a_side_that_pulls_no_more_is_placed_by_the_bus_that_both_read(tmp_path) -> None:
    """The second truth's trike (tests/probe, by another hand) loses a belt in its first pull: from
    then on current and speed of that side are its own; bus and demand are shared."""
    trike = next(one for one in losing.every()["mechanical_drive_lost"]() if "trike" in one.name)
    status, answer, said = ask.ride_json(ask.files(trike, tmp_path))
    assert status == 0, said
    logs = answer["ride"]["sources"]
    offsets = [one["clock_offset_s"] for one in logs if one["role"] == "right"]
    assert offsets == pytest.approx([0.0], abs=0.05)


@pytest.mark.parametrize("seed", range(4))
def test_standing_for_long_after_a_loss_speaks_neither_for_nor_against(seed: int) -> None:
    """40 s of riding, then the pack's path opens and 40 minutes of noise follow."""
    ride, offset_s, opened_s = made_ride(seed, 40.0), 2.5, 40.0
    rng = np.random.default_rng(seed)
    out = []
    for rate_hz, bus_stays in ((10.0, False), (5.0, True)):
        own_s = np.arange(0.0, 2400.0, 1.0 / rate_hz)
        riding = own_s < opened_s
        amps = np.where(riding, ride.at(ride.current_a, own_s), 0.0)
        amps = amps + rng.normal(0, 0.1, own_s.size)
        volts = np.where(riding, ride.at(ride.voltage_v, own_s), 57.0 if bus_stays else 0.0)
        volts = volts + rng.normal(0, 0.03, own_s.size)
        out.append((own_s, {"voltage": volts, "current": amps}))
    (first_s, first), (second_s, second) = out
    fit = fit_clock(first_s, first, second_s + offset_s, second)
    assert isinstance(fit, ClockFit)
    assert fit.offset_s == pytest.approx(offset_s, abs=0.1)


@pytest.mark.filterwarnings("error")
def test_a_current_that_is_missing_wherever_it_was_asked_for_tells_no_idling() -> None:
    log = drive(np.random.default_rng(0), "left", broken=False)
    log.columns["battery_current_a"][log.columns["throttle_pct"] > 10] = np.nan
    assert without_idling(log, signals_of(log)) is None
