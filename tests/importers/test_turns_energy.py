"""Unmarked motor turns without any speed, by the energy of pulling away.

Truth: the rides of `tests/probe`, whose equations are another hand's; a vehicle that speeds up on
the level by hand-worked numbers.
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from ledger.third_logs import true_run
from probe.machine import setup_text
from setup_maker import TRIKE, setup_of

from importers.look import look
from importers.read_ride import read_ride
from importers.setup_file import parse_setup
from importers.turns_energy import counts_electrical

SETUP = setup_of(TRIKE)
VEHICLE = SETUP.vehicle
assert VEHICLE.mass_kg == 310.0


def hand_worked(times: float, part: float) -> pd.DataFrame:
    """Six pulls of 0 to 5 m/s in 5 s, 310 kg: 3875 J each, of what the pack gave `part`."""
    t = np.arange(0.0, 120.0, 0.1)
    speed = np.clip((t % 20.0), 0.0, 5.0) * (t % 20.0 < 12.0)
    watts = np.where((t % 20.0 > 0.0) & (t % 20.0 < 5.0), 310.0 * speed / part, 0.0)
    turns = speed * 60.0 * VEHICLE.gear_ratio / (np.pi * VEHICLE.wheel_diameter_m)
    return pd.DataFrame(
        {
            "time_s": t,
            "pack_voltage_v": np.full(t.size, 50.0),
            "left.battery_current_a": watts / 100.0,
            "right.battery_current_a": watts / 100.0,
            "left.motor_rpm": turns * times,
        }
    )


@pytest.mark.parametrize("part", [0.35, 0.6, 0.9])
def test_what_the_motion_gains_comes_out_of_the_pack(part: float) -> None:
    assert counts_electrical(hand_worked(1.0, part), SETUP, "left.motor_rpm") is False
    electrical = hand_worked(float(VEHICLE.pole_pairs), part)
    assert counts_electrical(electrical, SETUP, "left.motor_rpm") is True


def test_wheels_off_the_ground_tell_nothing() -> None:
    idle = hand_worked(1.0, 0.6)
    idle[["left.battery_current_a", "right.battery_current_a"]] /= 30.0
    assert counts_electrical(idle, SETUP, "left.motor_rpm") is None


def test_one_drives_current_of_two_is_not_what_the_pack_gave() -> None:
    alone = hand_worked(1.0, 0.6).drop(columns="right.battery_current_a")
    assert counts_electrical(alone, SETUP, "left.motor_rpm") is None


@pytest.mark.parametrize("kind", ["board", "trike", "kart", "lfp_cart"])
@pytest.mark.parametrize("electrical", [False, True])
def test_turns_of_rides_by_another_hand(tmp_path: Path, kind: str, electrical: bool) -> None:
    run = true_run(kind, 6)
    rows = np.arange(0, run.t_s.size, 10)
    columns = {"time [s]": run.t_s[rows], "pack voltage [V]": run.col["bus_v"][rows]}
    times = run.machine.pole_pairs if electrical else 1
    for name, side in run.side.items():
        columns[f"{name} battery current [A]"] = side["battery_a"][rows]
        columns[f"{name} motor rpm"] = side["omega"][rows] * 30 / np.pi * times
    log = tmp_path / "ride.csv"
    pd.DataFrame(columns).to_csv(log, index=False, float_format="%.2f")
    setup = parse_setup(setup_text(run.machine), "setup.toml")
    ride = read_ride([str(log)], setup)
    turns = [c for s in ride.sources for c in s.channels if str(c.channel).endswith("motor_rpm")]
    assert {one.unit for one in turns} == {"electrical rpm" if electrical else "rpm"}
    assert min(one.sure for one in turns) >= 0.95
    name = next(iter(run.side))
    truth = run.side[name]["omega"][rows] * 30 / np.pi
    assert np.nanmax(np.abs(ride.get(f"{name}.motor_rpm") - truth)) < 1.0
    assert any("pole pairs" in text for _, text in ride.notes) == electrical
    (seen,) = look([str(log)], setup=setup)
    assert [one.unit for one in seen.channels] == [one.unit for one in ride.sources[0].channels]
