"""Offset and drift between logs, against the clocks the logs were made with."""

import numpy as np
import pytest
from ledger.third_logs import true_run
from ride_logs import drive_log, made_ride, pack_log, track_log

from importers.clocks import ClockFit, NoFit, fit_clock
from importers.place_logs import signals_of


def fitted(first, second) -> ClockFit | NoFit:
    return fit_clock(first.time_s, signals_of(first), second.time_s, signals_of(second))


def errors(seed: int, make, **more) -> tuple[float, float, ClockFit]:
    """(offset error s, drift error ppm, fit) for one made ride and clock."""
    ride = made_ride(seed)
    offset_s, drift_ppm = ride.rng.uniform(-30, 30), ride.rng.normal(0, 40)
    first = drive_log(ride, file="left.csv", role="left")
    second = make(ride, file="b.csv", offset_s=offset_s, drift_ppm=drift_ppm, from_s=-7.0, **more)
    fit = fitted(first, second)
    assert isinstance(fit, ClockFit)
    truth_s = offset_s + drift_ppm * 1e-6 * first.first_s - (second.first_s - first.first_s)
    assert fit.low_s <= truth_s <= fit.high_s or abs(fit.offset_s - truth_s) < 0.005
    return fit.offset_s - truth_s, fit.drift_ppm - drift_ppm, fit


def test_two_drives_at_20_hz() -> None:
    rows = [errors(seed, drive_log, role="right") for seed in range(8)]
    assert np.median([abs(row[0]) for row in rows]) < 0.020
    assert max(abs(row[0]) for row in rows) < 0.025
    assert np.median([abs(row[1]) for row in rows]) < 5.0


def test_a_bms_and_a_track_at_1_hz_well_under_a_sample() -> None:
    assert np.median([abs(errors(seed, pack_log)[0]) for seed in range(5)]) < 0.1
    assert np.median([abs(errors(seed, track_log)[0]) for seed in range(5)]) < 0.2


def test_a_bare_oscillator_that_runs_half_a_percent_fast() -> None:
    ride = made_ride(3)
    first = drive_log(ride, file="a", role="left")
    second = drive_log(ride, file="b", role="right", offset_s=4.0, drift_ppm=5000.0)
    fit = fitted(first, second)
    assert isinstance(fit, ClockFit)
    assert fit.drift_ppm == pytest.approx(5000.0, abs=25.0)


def test_logs_of_different_rides_do_not_fit() -> None:
    fit = fitted(
        drive_log(made_ride(1), file="a", role="left"), drive_log(made_ride(2), file="b", role="r")
    )
    assert isinstance(fit, NoFit)
    assert fit.active


@pytest.mark.parametrize("kind", ["board", "scooter", "trike", "kart"])
@pytest.mark.parametrize("number", [11, 13, 15])
def test_two_rides_of_one_build_from_one_door_are_two_rides(kind: str, number: int) -> None:
    """Rides of `tests/probe`: each begins with the same pull from the same rest."""
    logs = []
    for run, side in ((true_run(kind, number), 0), (true_run(kind, number + 1), 1)):
        rows = np.arange(0, run.t_s.size, 5)
        drive = list(run.side.values())[side]
        felt = {
            "voltage": run.col["bus_v"][rows],
            "current": drive["battery_a"][rows],
            "speed": drive["omega"][rows],
        }
        logs.append((run.t_s[rows], felt))
    fit = fit_clock(*logs[0], *logs[1])
    assert isinstance(fit, NoFit)
    assert fit.active


def test_nothing_happens_nothing_is_claimed() -> None:
    time_s = np.arange(0, 300, 0.1)
    still = {"voltage": np.full(time_s.size, 50.0)}
    fit = fit_clock(time_s, still, time_s, still)
    assert isinstance(fit, NoFit)
    assert not fit.active


def test_a_path_that_opens_parts_the_two_voltages_but_not_the_logs() -> None:
    """Ohm's law on the cells' side, a collapsed bus on the controllers' side, 3 s apart."""
    rng = np.random.default_rng(4)
    time_s = np.arange(0.0, 200.0, 0.5)
    load_a = np.convolve(np.repeat(rng.uniform(5, 40, 80), 5), np.ones(3) / 3, "same")
    gone = ((time_s > 30) & (time_s < 45)) | ((time_s > 80) & (time_s < 95))
    load_a[gone] = 0.0
    cells_v = 48.0 - 0.05 * load_a
    bus_v = np.where(gone, 15.0, cells_v)
    drive = {"voltage": bus_v, "current": load_a}
    for pack in ({"voltage": cells_v}, {"voltage": cells_v, "current": load_a}):
        fit = fit_clock(time_s, drive, time_s + 3.0, pack)
        assert isinstance(fit, ClockFit)
        assert fit.offset_s == pytest.approx(3.0, abs=0.1)


@pytest.mark.parametrize("seed", range(3))
def test_a_ride_that_ends_in_half_an_hour_of_standing_is_one_ride(seed: int) -> None:
    """Noise of two loggers at rest speaks neither for nor against; the truth is 12.34 s."""
    rng = np.random.default_rng(seed)
    time_s = np.arange(0.0, 2400.0, 0.05)
    load_a = np.repeat(rng.uniform(2, 20, 480), 100) * (time_s < 200)
    load_a = np.convolve(load_a, np.ones(20) / 20, "same")

    def felt() -> dict[str, np.ndarray]:
        volts = np.round(50 - 0.05 * load_a + rng.normal(0, 0.1, time_s.size), 1)
        return {"voltage": volts, "current": load_a + rng.normal(0, 0.6, time_s.size)}

    fit = fit_clock(time_s, felt(), time_s + 12.34, felt())
    assert isinstance(fit, ClockFit)
    assert fit.offset_s == pytest.approx(12.34, abs=0.15)
    assert fit.low_s <= 12.34 <= fit.high_s
