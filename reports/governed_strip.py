"""The strip below a climb: metre by metre, which limit, or the rider, governed each drive."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from analyzer.governed import GOVERNORS
from analyzer.quantities import Floats
from analyzer.words import Governor
from reports.sentences import GOVERNOR
from reports.stacked import Figure, Line, Panel

PIECES = 240
"""A strip is cut into at most so many pieces; each shows what governed most of it. Our choice."""
STYLE: dict[Governor, tuple[str, str, float]] = {
    Governor.RIDER: ("@muted", "solid", 2.0),
    Governor.BATTERY_LIMIT: ("@c2", "solid", 9.0),
    Governor.PHASE_LIMIT: ("@c4", "6px,2px", 9.0),
    Governor.VOLTAGE_DERATE: ("@watch", "2px,2px", 9.0),
    Governor.CONTROLLER_HEAT_DERATE: ("@act", "9px,3px,2px,3px", 9.0),
    Governor.MOTOR_HEAT_DERATE: ("@act", "solid", 9.0),
    Governor.NO_VOLTAGE_HEADROOM: ("@c1", "6px,2px", 6.0),
    Governor.UNKNOWN: ("@muted", "2px,2px", 6.0),
}
"""Colour, dash and width of each: told apart without colour, too."""

Codes = NDArray[np.int8]
Piece = tuple[int, int, int]
"""First row, row after the last, code."""


def pieces_of(codes: Codes) -> list[Piece]:
    """The rows cut into pieces by what governed most of each, equal neighbours joined; stretches
    in which the drive neither drove nor was asked to are left out."""
    n = codes.size
    edges = np.unique(np.linspace(0, n, min(PIECES, n) + 1).round().astype(int))
    pieces: list[Piece] = []
    for first, last in pairwise(edges):
        part = codes[first:last]
        part = part[part >= 0]
        if part.size == 0:
            continue
        code = int(np.bincount(part).argmax())
        if pieces and pieces[-1][1] == first and pieces[-1][2] == code:
            pieces[-1] = (pieces[-1][0], int(last), code)
        else:
            pieces.append((int(first), int(last), code))
    return pieces


def strip_panel(strips: Sequence[tuple[str, list[Piece]]]) -> Panel:
    """An empty panel with the strip's title and keys: only what occurs is named."""
    found = sorted({code for _, pieces in strips for _, _, code in pieces})
    nothing = np.zeros(0)
    keys = [Line(GOVERNOR[GOVERNORS[code]], nothing, *STYLE[GOVERNORS[code]][:2]) for code in found]
    return Panel("What governed each drive", "", keys)


def strip_traces(
    strips: Sequence[tuple[str, list[Piece]]], way_m: Floats, axis: str
) -> list[Figure]:
    """One trace for each governor that occurs, one line of the strip a drive."""
    traces = []
    for code in sorted({code for _, pieces in strips for _, _, code in pieces}):
        colour, dash, width = STYLE[GOVERNORS[code]]
        x: list[float | None] = []
        y: list[float | None] = []
        for row, (_, pieces) in enumerate(strips):
            for first, last, own in pieces:
                if own == code:
                    ends = (float(way_m[first]), float(way_m[min(last, way_m.size - 1)]))
                    x += [round(ends[0], 1), round(ends[1], 1), None]
                    y += [-row, -row, None]
        traces.append(
            {
                "type": "scatter",
                "mode": "lines",
                "name": GOVERNOR[GOVERNORS[code]],
                "x": x,
                "y": y,
                "yaxis": axis,
                "line": {"color": colour, "dash": dash, "width": width},
                "hovertemplate": GOVERNOR[GOVERNORS[code]],
            }
        )
    return traces
