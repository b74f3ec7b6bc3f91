"""A long file: rows of all drives under one another, told apart by one column."""

import numpy as np
import pytest
from setup_maker import TRIKE, setup_of

from importers.read_ride import read_ride


def _long(header: str, labels: tuple[str, str]) -> str:
    """Two drives by turns at 10 Hz; the second one draws 2 A more."""
    lines = [f"time [s],{header},battery voltage [V],battery current [A],motor speed [rpm]"]
    rng = np.random.default_rng(3)
    for row in range(600):
        t = row / 10
        amps = 8 + 6 * np.sin(t / 3)
        volts = 56 - 0.1 * amps + rng.normal(0, 0.02)
        speed = 900 + 200 * np.sin(t / 5)
        for place, label in enumerate(labels):
            one = amps + 2 * place + rng.normal(0, 0.05)
            lines.append(f"{t:.1f},{label},{volts:.2f},{one:.2f},{speed:.0f}")
    return "\n".join(lines) + "\n"


@pytest.mark.parametrize("header", ["drive", "side", "unit", "name"])
def test_a_text_that_names_the_drives_tells_them_apart_under_any_header(tmp_path, header) -> None:
    path = tmp_path / "ride.csv"
    path.write_text(_long(header, ("left", "right")), "utf-8")
    ride = read_ride([str(path)], setup_of(TRIKE))
    assert ride.drives == ("left", "right")
    apart = ride.get("right.battery_current_a") - ride.get("left.battery_current_a")
    assert np.nanmean(apart) == pytest.approx(2.0, abs=0.05)


def test_numbers_under_a_bare_name_are_taken_in_the_setups_order_and_said(tmp_path) -> None:
    path = tmp_path / "ride.csv"
    path.write_text(_long("drive", ("0", "1")), "utf-8")
    ride = read_ride([str(path)], setup_of(TRIKE))
    assert ride.drives == ("left", "right")
    assert any("order" in text for source in ride.sources for text in source.problems)
