"""Every number of an evidence sentence stands beside it: in a line, a level or a mark of the plot.

The check is the issue's own; tolerances are half of the last digit shown, and what lines lose by
being thinned and packed as float32.
"""

import base64
import re

import numpy as np
import pytest

from analyzer.ride_analysis import analyse_ride
from reports.closeup_view import closeups
from reports.panels import ride_panels
from simulator.scenarios import make_case

NUMBER = re.compile(r"(−?\d+(?:\.\d+)?)\s(V|A|%|°C|km/h|s|times)(?![\w²])")
CASES = (
    ("bms_overcurrent_discharge", 2),
    ("bms_overcurrent_charge", 1),
    ("bms_overheat", 1),
    ("cell_low_voltage", 2),
    ("cell_high_voltage", 1),
    ("undervoltage_stop", 1),
    ("overvoltage_trip", 1),
    ("motor_overheat", 1),
    ("controller_overheat", 1),
    ("phase_overcurrent", 1),
    ("input_signal_lost", 3),
    ("interlock_opened", 1),
    ("idle_shutdown", 0),
    ("supply_interrupted", 1),
)


def series(packed):
    if isinstance(packed, dict):
        return np.frombuffer(
            base64.b64decode(packed["bdata"]), packed["dtype"].replace("f4", "<f4")
        )
    return np.asarray(packed, float)


def drawn(figure):
    """Unit -> all values of its lines and levels."""
    out = {}
    for line in figure["data"]:
        unit = line["hovertemplate"].rsplit(" ", 1)[-1]
        y = series(line["y"])
        out.setdefault(unit, []).append(y[np.isfinite(y)])
    for shape in figure["layout"]["shapes"]:
        if shape.get("xref") == "paper" and shape["y0"] == shape["y1"]:
            out.setdefault("level", []).append(np.array([shape["y0"]]))
    for text in (one["text"] for one in figure["layout"]["annotations"]):
        for value, _ in NUMBER.findall(text):
            out.setdefault("level", []).append(np.array([float(value.replace("−", "-"))]))
    return out


def seconds(text):
    """Durations as the page writes them, in seconds."""
    found = [60 * float(a) + float(b) for a, b in re.findall(r"(\d+) min (\d+(?:\.\d+)?) s", text)]
    return found + [float(x) for x in re.findall(r"(\d+(?:\.\d+)?) s\b", text)]


def crosses(lines, value, half):
    """Whether a line, or a level, takes this value within half of the last digit."""
    for y in lines:
        near = np.abs(np.abs(y) - abs(value)) <= half + 2e-6 * abs(value)
        if near.any() or (y.size > 1 and (np.diff(np.sign(np.abs(y) - abs(value))) != 0).any()):
            return True
    return False


def beside(view, value, unit, digits):
    half, words = 0.51 * 10.0**-digits, " ".join([view.span, *view.moments])
    if unit == "s":
        return any(abs(x - value) <= max(half, 0.051) for x in seconds(words))
    if unit == "times" or (unit == "%" and f"{value:g} %" in words):
        return f"{value:g} {unit}" in words
    lines = drawn(view.figure)
    same = lines.get(unit, []) + lines.get("level", [])
    if unit == "%":  # what is far beyond a limit is cut off at the panel's edge
        value = min(value, 160.0)
    return crosses(same, value, half)


@pytest.mark.parametrize(("cause", "seed"), CASES)
def test_every_number_of_the_evidence_is_in_the_plot_beside_it(cause, seed):
    sim = make_case(cause, seed, "tune")
    result = analyse_ride(sim.ride, sim.setup)
    views = closeups(result, ride_panels(result))
    assert views
    lost = []
    for view in views:
        for one in view.causes:
            for text in one.evidence:
                per_cell = re.findall(r"(\d+\.\d\d) V \(", text)  # drawn as the pack's, over series
                for number, unit in NUMBER.findall(text):
                    if number in per_cell:
                        continue
                    digits = len(number.partition(".")[2])
                    value = float(number.replace("−", "-"))
                    if not beside(view, value, unit, digits):
                        lost.append((number, unit, text, view.span, view.moments))
    assert not lost, lost


def test_a_later_close_up_of_the_same_cause_repeats_nothing():
    sim = make_case("bms_overcurrent_discharge", 2, "tune")
    result = analyse_ride(sim.ride, sim.setup)
    views = closeups(result, ride_panels(result))
    assert len(views) > 1
    said = set()
    for view in views:
        for one in view.causes:
            new = {(one.name, text) for text in (*one.evidence, *one.would_confirm)}
            new = {x for x in new if "as at the" not in x[1]}
            assert not new & said
            said |= new
