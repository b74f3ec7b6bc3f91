"""What must hold of any prediction by physics alone: more of what makes a hill hard is never
easier, and an edge is where the forward run says it is."""

from __future__ import annotations

import numpy as np
import pytest
from handmade import make_setup

from analyzer.hill_ahead import even_hill
from analyzer.hill_build import draw_build
from analyzer.hill_model import simulate_hill
from analyzer.predict import predict_hill
from importers.setup_types import Drive

DRAWS = 40
EASY = {"grade_pct": 5.0, "charge_pct": 70.0, "temp_c": 20.0, "extra_mass_kg": 0.0}
HARDER = {"grade_pct": 7.0, "charge_pct": 40.0, "temp_c": -10.0, "extra_mass_kg": 60.0}


def trike():
    return make_setup(
        drives=tuple(
            Drive(
                name, battery_drive_a=20.0, battery_brake_a=6.0, derate_from_v=45.0, stop_at_v=42.0
            )
            for name in ("left", "right")
        ),
        vehicle={"mass_kg": 200.0},
    )


def hill(length_m=300.0, speed_mps=4.0, **asked):
    now = EASY | asked
    return even_hill(
        now["grade_pct"], length_m, now["charge_pct"], now["temp_c"], speed_mps,
        now["extra_mass_kg"],
    )  # fmt: skip


def run(**asked):
    ahead = hill(**asked)
    rng = np.random.default_rng(1)
    return simulate_hill(draw_build(trike(), [], rng, DRAWS, ahead.extra_mass_kg), ahead)


@pytest.mark.parametrize("harder", list(HARDER))
def test_harder_is_never_easier_in_any_draw(harder):
    easy, hard = run(), run(**{harder: HARDER[harder]})
    assert (hard.lowest_v < easy.lowest_v).all()
    assert (hard.reached <= easy.reached).all()
    assert (np.isfinite(hard.reduced_at_m) >= np.isfinite(easy.reduced_at_m)).all()


@pytest.mark.parametrize("harder", ["charge_pct", "temp_c", "extra_mass_kg"])
def test_the_steepest_grade_falls_with_what_makes_it_harder(harder):
    def steepest(**asked):
        said = predict_hill(trike(), [], hill(**asked), seed=1, draws=DRAWS)
        edge = said.works_up_to.grade_pct
        return 0.0 if edge is None else edge.value

    assert steepest(**{harder: HARDER[harder]}) <= steepest() + 0.1  # the search's last step


def test_charge_and_cold_edges_are_where_the_forward_run_says():
    said = predict_hill(trike(), [], hill(grade_pct=4.0), seed=1, draws=DRAWS)
    for name, harder in (("charge_down_to_pct", -12.0), ("temp_down_to_c", -12.0)):
        edge = getattr(said.works_up_to, name)
        if edge is None or edge.low is None or edge.high is None:
            continue  # beyond the range looked at
        asked = name.split("_")[0] + ("_pct" if name.startswith("charge") else "_c")
        reduced = [
            np.isfinite(run(grade_pct=4.0, **{asked: value}).reduced_at_m).mean()
            for value in (edge.high + 2.0, edge.value + harder)
        ]
        assert reduced[0] < 0.15
        assert reduced[1] > reduced[0]


def test_the_charge_to_leave_home_with_is_where_the_pack_stays_under_full():
    setup = trike()
    said = predict_hill(
        setup, [], hill(grade_pct=-8.0, length_m=500.0, charge_pct=60.0), seed=3, draws=DRAWS
    )
    assert said.descent is not None
    home = said.descent.leave_home_below_pct
    assert home is not None

    def too_high(charge_pct):
        down = run(grade_pct=-8.0, length_m=500.0, charge_pct=charge_pct)
        return float(np.mean(down.highest_v >= setup.full_v))

    assert too_high(home.value - 3.0) < 0.15
    assert too_high(min(home.value + 8.0, 100.0)) > 0.15


def test_a_wall_is_not_climbed_and_said_so():
    said = predict_hill(trike(), [], hill(grade_pct=30.0), seed=1, draws=DRAWS)
    assert said.speed_mps is None
    assert said.chance_top_pct < 50.0
    assert said.chance_reduced_pct > 95.0
    assert said.power_first_reduced_at_m is not None
