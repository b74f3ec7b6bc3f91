"""A hill not ridden yet: the answer follows the chances, none of which is never or always."""

import io
from dataclasses import replace

import pytest
from made.predictions import made_prediction
from rich.console import Console

from analyzer.estimate import Estimate, Note
from analyzer.predict import Descent, even_hill
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
