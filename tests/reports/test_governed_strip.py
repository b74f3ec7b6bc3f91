"""The strip of governors: majority of each piece, gaps where nothing was asked."""

import numpy as np

from analyzer.governed import GOVERNORS
from analyzer.words import Governor
from reports.governed_strip import PIECES, STYLE, pieces_of, strip_panel, strip_traces

RIDER, BATTERY = (GOVERNORS.index(one) for one in (Governor.RIDER, Governor.BATTERY_LIMIT))


def test_equal_neighbours_join_and_idle_rows_are_left_out():
    codes = np.array([RIDER] * 3 + [-1] * 2 + [BATTERY] * 4, np.int8)
    assert pieces_of(codes) == [(0, 3, RIDER), (5, 9, BATTERY)]
    assert pieces_of(np.full(5, -1, np.int8)) == []


def test_many_rows_are_cut_into_pieces_by_majority():
    codes = np.full(240_000, RIDER, np.int8)
    codes[::3] = BATTERY
    codes[120_000:] = BATTERY
    assert pieces_of(codes) == [(0, 120_000, RIDER), (120_000, 240_000, BATTERY)]
    alternating = np.repeat(np.array([RIDER, BATTERY] * 5000, np.int8), 7)
    assert len(pieces_of(alternating)) <= PIECES


def test_every_governor_has_a_style_told_apart_without_colour():
    assert set(STYLE) == set(Governor)
    assert len({(dash, width) for _, dash, width in STYLE.values()}) >= len(STYLE) - 1


def test_a_trace_runs_over_the_way_of_its_pieces():
    strips = [("left", [(0, 3, RIDER)]), ("right", [(5, 9, BATTERY)])]
    way = np.arange(9) * 10.0
    rider, battery = strip_traces(strips, way, "y5")
    assert (rider["x"], rider["y"]) == ([0.0, 30.0, None], [0, 0, None])
    assert (battery["x"], battery["y"]) == ([50.0, 80.0, None], [-1, -1, None])
    assert [line.name for line in strip_panel(strips).lines] == ["rider", "battery limit"]
