"""A current's zero from standstill: offsets planted into rides whose truth is known."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from probe import ask, cases
from setup_maker import TRIKE, setup_of

from analyzer.totals import ride_totals
from importers.current_zero import without_zeros, zeros
from importers.read_ride import read_ride
from importers.ride import Ride
from importers.setup_file import read_setup
from importers.setup_types import Setup


@pytest.fixture(scope="module")
def ridden(tmp_path_factory: pytest.TempPathFactory) -> tuple[Ride, Setup]:
    """A clean ride of the second truth: two drives, halts on the way, no BMS."""
    folder = tmp_path_factory.mktemp("clean")
    logs = ask.files(cases.clean(2), folder)
    setup = read_setup(str(folder / "setup.toml"))
    return read_ride(logs, setup), setup


def amps_of(ride: Ride) -> list[str]:
    return [n for n in ride.table.columns if n.endswith(("battery_current_a", "pack_current_a"))]


def test_a_clean_ride_keeps_its_currents(ridden: tuple[Ride, Setup]) -> None:
    ride, setup = ridden
    assert zeros(ride.table, setup) == []


@pytest.mark.parametrize("planted_a", [0.8, -0.3, -1.1])
def test_a_planted_zero_is_taken_off_and_said(ridden: tuple[Ride, Setup], planted_a: float) -> None:
    ride, setup = ridden
    name = next(one for one in amps_of(ride) if one != "pack_current_a")
    table = ride.table.copy()
    table[name] += planted_a
    mended, told = without_zeros(table, setup)
    assert np.nanmax(np.abs(mended[name] - ride.table[name])) < 0.15
    assert any(one.startswith(f"{name}: its zero is taken from") for one in told)
    assert f"{planted_a:+.1f}"[:2] in told[0]
    assert np.array_equal(table[name], ride.table[name] + planted_a, equal_nan=True)
    charge = ride_totals(replace(ride, table=mended), setup).charge_out_ah
    truth = ride_totals(ride, setup).charge_out_ah
    assert charge == pytest.approx(truth, abs=0.15 * ride.time_s[-1] / 3600)


def made(rest_a: float, *, lights_a: float = 0.0, changes_a: float = 0.0) -> pd.DataFrame:
    """Ten minutes that stop for 10 s each minute; what a BMS and two drives read."""
    rng = np.random.default_rng(1)
    time_s = np.arange(0, 600, 0.1)
    goes = time_s % 60 > 10
    load = np.where(goes, 20 + 8 * np.sin(time_s / 3), 0.0)
    pack = 2 * load + lights_a + rest_a + np.where(time_s > 300, changes_a, 0.0)
    return pd.DataFrame(
        {
            "time_s": time_s,
            "speed_mps": np.where(goes, 5.0, 0.0),
            "left.battery_current_a": load + rng.normal(0, 0.05, load.size),
            "right.battery_current_a": load + rng.normal(0, 0.05, load.size),
            "pack_current_a": np.round(pack + rng.normal(0, 0.05, load.size), 2),
        }
    )


def test_lights_are_no_zero_of_a_bms() -> None:
    assert zeros(made(0.0, lights_a=1.0), setup_of(TRIKE)) == []


@pytest.mark.parametrize("rest_a", [-0.4, 0.5])
def test_what_is_left_of_a_bms_reading_without_the_lights_is_its_zero(rest_a: float) -> None:
    setup = setup_of(TRIKE)
    lit_a = setup.pack.aux_a or 0.0
    (one,) = zeros(made(rest_a, lights_a=lit_a), setup)
    assert one.channel == "pack_current_a"
    assert one.zero_a == pytest.approx(rest_a, abs=0.02)
    assert "less `pack.aux_a`" in one.text


def test_a_load_that_changes_is_no_zero() -> None:
    setup = setup_of(TRIKE)
    assert zeros(made(0.8, lights_a=setup.pack.aux_a or 0.0, changes_a=0.6), setup) == []


def test_lights_off_is_said_and_nothing_moved() -> None:
    setup = setup_of(TRIKE)
    (one,) = zeros(made(0.02), setup)
    assert one.zero_a == 0.0
    assert "lights off" in one.text


def test_a_dead_band_is_said() -> None:
    table = made(0.0)
    load = table["pack_current_a"] * np.linspace(0, 1, len(table))
    table["pack_current_a"] = np.where(np.abs(load) < 0.8, 0.0, np.round(load, 2))
    (one,) = zeros(table, setup_of(TRIKE))
    assert "reads 0 below 0.8 A" in one.text
    assert one.zero_a == 0.0
