"""The timeline's panels: what is drawn, level lines named without covering each other."""

import numpy as np
import pytest
from made.ride_results import bare_result, made_result

from reports.climb_figures import profiles
from reports.panels import ride_panels
from reports.stacked import Line, Panel, stacked


def test_panels_stand_in_reading_order_and_only_for_what_is_logged():
    titles = [panel.title for panel in ride_panels(made_result())]
    assert titles == [
        "Pack voltage",
        "Pack current, braking below zero",
        "Battery current of each drive",
        "Motor current of each drive",
        "Motor temperature",
        "Controller temperature",
        "Demand, braking below zero",
        "Speed",
        "Height above the start",
    ]
    assert [panel.title for panel in ride_panels(bare_result())] == ["Pack voltage"]


def test_ratings_and_lines_are_the_setups():
    panels = {panel.title: panel for panel in ride_panels(made_result())}
    voltage = {(value, name) for value, name, _ in panels["Pack voltage"].levels}
    assert {(52.8, "power reduced"), (48.0, "power gone")} <= voltage
    current = {
        (value, name) for value, name, _ in panels["Pack current, braking below zero"].levels
    }
    assert {(40.0, "BMS rating"), (50.0, "BMS opens"), (-10.5, "cells' charge rating")} <= current


def test_height_starts_at_zero_so_that_no_place_can_be_told():
    panels = {panel.title: panel for panel in ride_panels(made_result())}
    assert panels["Height above the start"].lines[0].values[0] == 0.0


@pytest.mark.parametrize("levels", [(50.0, 51.0), (40.0, 51.0, 54.0), (50.0, 50.2, 50.4, 50.6)])
def test_no_label_covers_another(levels):
    panel = Panel(
        "x", "A", [Line("a", np.array([0.0, 60.0]))], [(one, f"l{one}", "@act") for one in levels]
    )
    layout = stacked([panel], np.array([0.0, 1.0]), most=10)["layout"]
    low, high = layout["yaxis2"]["range"]
    seen = []
    for one in layout["annotations"]:
        if one.get("small"):
            half = 0.06 * (high - low)
            middle = one["y"] + (-half if one["yanchor"] == "top" else half)
            assert all(x != one["x"] or abs(middle - y) > half for x, y in seen)
            seen.append((one["x"], middle))
    assert len(seen) == len(levels)


def test_a_climb_is_drawn_over_its_way():
    # The made climb rises 159 m in 307 s at 5.4 m/s: 1658 m; 53.6 of 40 A is the nearest limit.
    (one,) = profiles(made_result())
    assert one.title == "Mill Lane: 159 m up in 1 658 m, 9.60 % (9.30 to 9.90)".replace(
        "1 658", "1\N{NARROW NO-BREAK SPACE}658"
    )
    assert one.figure["ends"][1] == pytest.approx(1658, rel=0.01)
    assert one.nearest.startswith("Nearest: BMS rating, 13")


def test_without_speed_there_is_no_way_to_draw_over():
    assert profiles(bare_result()) == ()
