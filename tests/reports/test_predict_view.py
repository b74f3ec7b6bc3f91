"""A hill not ridden yet: the answer follows the chances, none of which is never or always."""

import io
from dataclasses import replace

import numpy as np
import pytest
from made.predictions import made_prediction
from rich.console import Console

from analyzer.estimate import Estimate, Note
from analyzer.predict import Descent, HillAhead, WorksUpTo, even_hill
from reports.page import MOST_BYTES, predict_page
from reports.predict_view import drawn_chance, predict_view, print_predict

NOTE = Note("predict", "An estimate <b>not</b> a promise.")


def ahead(**changes):
    return replace(made_prediction(notes=(NOTE,)), **changes)


def test_a_limiter_at_work_is_not_what_stands_in_the_way():
    view = predict_view(ahead())
    assert view.headline == (
        "As far as these rides tell, it works: power is not expected to be reduced. "
        "The BMS's discharge rating is touched with a chance of 12 %."
    )


def test_reduced_power_says_where_and_how_likely():
    view = predict_view(
        ahead(chance_reduced_pct=40.0, power_first_reduced_at_m=Estimate(310.0, 250.0, 420.0))
    )
    assert "with a chance of 40 %, first at 310 m (250 to 420)" in view.headline
    view = predict_view(ahead(chance_reduced_pct=97.0, chance_top_pct=60.0))
    assert view.headline.startswith("The end is reached with a chance of 60 % only")


@pytest.mark.parametrize(
    ("pct", "draws", "text"),
    # Rule of three: none seen in n draws leaves up to 3/n at 95 %.
    [
        (0.0, 200, "under 2 %"),
        (0.0, 40, "under 8 %"),
        (100.0, 200, "over 98 %"),
        (12.4, 200, "12 %"),
    ],
)
def test_no_chance_is_never_or_always(pct, draws, text):
    assert drawn_chance(pct, draws) == text


def test_numbers_limits_and_reach_stand_on_the_page():
    page = predict_page(ahead()).replace("\u00a0", " ")
    for part in (
        "54.5 V (53.9 to 55.0)",
        "18.0 km/h",
        "36 A (33 to 39)",
        "under 2 %",
        "31 % (25 to 40)",
        "wiring.fuse_a",
        "An estimate &lt;b&gt;not&lt;/b&gt;",
    ):
        assert part in page
    assert len(page.encode()) < MOST_BYTES


def test_a_descent_tells_what_the_mechanical_brake_must_take():
    down = Descent(
        (("left", Estimate(5.1, 4.7, 5.6)),),
        Estimate(10.1, 9.4, 10.8),
        Estimate(62.0, 45.0, 67.0),
        Estimate(400.0, 300.0, 500.0),
        Estimate(20.0, 15.0, 25.0),
    )
    hill = even_hill(grade_pct=-8.0, length_m=900.0, charge_pct=97.0, temp_c=5.0)
    page = predict_page(ahead(descent=down, hill=hill)).replace("\u00a0", " ")
    assert "A descent not ridden yet" in page
    assert "Start with no more charge than" in page
    assert "400 W (300 to 500)" in page


def test_the_terminal_tells_the_same():
    text = io.StringIO()
    print_predict(ahead(), Console(file=text, width=200))
    assert "The BMS's discharge rating is touched with a chance of 12 %." in text.getvalue()
    assert "Steepest grade at this charge and temperature: 9.6 %" in text.getvalue()


def a_track(**changes):
    """30 m up in 500 m, level, 12 m down: known by hand."""
    way = np.array([0.0, 500.0, 800.0, 1000.0])
    hill = HillAhead(way, np.array([7.0, 37.0, 37.0, 25.0]), 60.0, 10.0, 5.0, name="to <work>")
    return ahead(hill=hill, **changes)


def test_a_track_is_told_by_its_climbs_and_not_by_its_mean_grade():
    facts = dict(predict_view(a_track()).facts)
    assert facts["Track"] == "to <work>"
    assert facts["Climbs"].replace("\u00a0", " ") == "30 m"
    assert facts["Descends"].replace("\u00a0", " ") == "12 m"
    assert not {"Grade", "Mean grade"} & set(facts)
    assert "to &lt;work&gt;" in predict_page(a_track())


def test_a_track_is_drawn_from_its_own_start_with_the_place_power_gives_out():
    view = predict_view(a_track(power_first_reduced_at_m=Estimate(400.0, 350.0, 1200.0)))
    assert view.way is not None
    line = view.way["data"][0]
    assert line["x"] == [0.0, 500.0, 800.0, 1000.0]
    assert line["y"] == [0.0, 30.0, 30.0, 18.0]
    band, at = view.way["layout"]["shapes"]
    assert (band["x0"], band["x1"], at["x0"]) == (350.0, 1000.0, 400.0)
    assert predict_view(ahead()).way is None


def test_what_no_charge_or_temperature_mends_is_said_so():
    none = WorksUpTo(None, None, None)
    rows = [row.cells[1] for row in predict_view(ahead(works_up_to=none)).works.rows]
    assert rows == ["not known", "not at any charge", "not at any temperature"]
    down = even_hill(grade_pct=-8.0, length_m=900.0, charge_pct=60.0, temp_c=5.0)
    assert predict_view(ahead(hill=down, works_up_to=none)).works.rows == ()


def test_names_on_the_plot_are_those_of_the_table():
    view = predict_view(ahead())
    assert view.figure is not None
    assert set(view.figure["data"][0]["y"]) <= {row.cells[0] for row in view.limits.rows}
