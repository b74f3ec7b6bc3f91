"""`predict`: paper builds, odd setups, the contract's keys; the tables of truth are benchmarks."""

from __future__ import annotations

import json

import numpy as np
import pytest
from handmade import make_setup

from analyzer.predict import HillAhead, even_hill, predict_hill
from analyzer.track_profile import track_profile
from importers.setup_types import Drive
from reports.predict_json import predict_json

# contract section 5
KEYS = {
    "schema", "hill", "limits", "speed_mps", "power_first_reduced_at_m", "lowest_voltage_v",
    "highest_voltage_v", "charge_used_ah", "motor_temp_top_c", "works_up_to", "not_checked",
    "notes",
}  # fmt: skip


def trike(**bms):
    return make_setup(
        drives=tuple(
            Drive(
                name, battery_drive_a=20.0, battery_brake_a=6.0, derate_from_v=45.0, stop_at_v=42.0
            )
            for name in ("left", "right")
        ),
        bms={"discharge_rating_a": 45.0, "charge_rating_a": 15.0} | bms,
        vehicle={"mass_kg": 200.0},
    )


@pytest.fixture(scope="module")
def paper():
    return predict_hill(trike(), [], even_hill(5.0, 300.0, 70.0, 15.0), seed=1, draws=60)


def test_without_rides_it_says_so_and_keeps_wide(paper) -> None:
    assert any("No ride to fit" in note.text for note in paper.notes)
    assert any("not a promise" in note.text for note in paper.notes)
    voltage = paper.lowest_voltage_v
    assert voltage.high - voltage.low > 0.5
    phase = [one for one in paper.not_checked if "phase_drive_a" in " ".join(one.missing)]
    assert phase


def test_json_has_the_contracts_keys_and_no_nan(paper) -> None:
    said = json.loads(predict_json(paper), parse_constant=lambda text: pytest.fail(text))
    assert set(said) == KEYS
    assert said["schema"] == "hillproof.predict/1"
    assert set(said["hill"]) == {
        "grade_pct", "length_m", "charge_pct", "temp_c", "speed_mps", "mass_kg",
    }  # fmt: skip
    assert set(said["works_up_to"]) == {"grade_pct", "charge_down_to_pct", "temp_down_to_c"}
    for row in said["limits"]:
        assert set(row) == {"limit", "set", "expected_peak", "chance_touched_pct"}
        assert 0 <= row["chance_touched_pct"] <= 100


def test_same_seed_same_bytes(paper) -> None:
    again = predict_hill(trike(), [], even_hill(5.0, 300.0, 70.0, 15.0), seed=1, draws=60)
    assert predict_json(again) == predict_json(paper)


def test_the_edge_works_and_beyond_it_does_not() -> None:
    setup = trike()
    said = predict_hill(setup, [], even_hill(3.0, 200.0, 90.0, 25.0, 4.0), seed=2, draws=80)
    edge = said.works_up_to.grade_pct
    assert edge is not None
    assert edge.low <= edge.value <= edge.high
    at = predict_hill(setup, [], even_hill(edge.value, 200.0, 90.0, 25.0, 4.0), seed=2, draws=80)
    beyond = even_hill(edge.high + 3.0, 200.0, 90.0, 25.0, 4.0)
    assert at.chance_reduced_pct < 12.0
    assert predict_hill(setup, [], beyond, seed=2, draws=80).chance_reduced_pct > 12.0


def test_a_descent_tells_braking_and_the_charge_to_leave_home_with() -> None:
    down = predict_hill(trike(), [], even_hill(-8.0, 500.0, 60.0, 15.0, 6.0), seed=3, draws=60)
    assert down.descent is not None
    assert down.works_up_to.grade_pct is None
    assert down.descent.braking_together_a.value > 3.0
    assert down.highest_voltage_v.value > down.lowest_voltage_v.value
    assert down.charge_used_ah.value < 0.0
    assert down.descent.leave_home_below_pct is not None
    assert 50.0 < down.descent.leave_home_below_pct.value < 100.0
    assert any("mechanical brake must hold" in note.text for note in down.notes)


def test_a_track_is_ridden_as_it_goes() -> None:
    distance = np.array([0.0, 200.0, 400.0, 600.0])
    steep = HillAhead(distance, np.array([0.0, 4.0, 22.0, 26.0]), 70.0, 15.0, 4.0)
    even = even_hill(steep.grade_pct, 600.0, 70.0, 15.0, 4.0)
    one, two = (predict_hill(trike(), [], hill, seed=4, draws=40) for hill in (steep, even))
    rating = {row.limit: row for row in one.limits}["bms.discharge_rating_a"].expected_peak
    calm = {row.limit: row for row in two.limits}["bms.discharge_rating_a"].expected_peak
    assert rating.value > 1.3 * calm.value


def test_a_way_up_and_down_is_judged_as_both_whatever_its_net_height() -> None:
    # up 18 m at 6 %, down 20 m at 6.7 %: a net loss of 2 m is no reason to forget the climb
    way = np.array([0.0, 300.0, 600.0])
    both = HillAhead(way, np.array([0.0, 18.0, -2.0]), 70.0, 15.0, 4.0)
    assert both.climbs
    assert both.descends
    said = predict_hill(trike(), [], both, seed=5, draws=30)
    assert said.descent is not None
    assert said.works_up_to.charge_down_to_pct is not None
    assert any("climbs 18 m and descends 20 m" in note.text for note in said.notes)


def test_a_level_track_with_scatter_is_no_row_of_walls() -> None:
    # 600 m level, a point every 5 m, 3 m of scatter; then a hill of 5 % over 400 m
    rng = np.random.default_rng(0)
    way = np.arange(0.0, 1001.0, 5.0)
    true = np.clip(way - 600.0, 0.0, None) * 0.05
    distance, height = track_profile(way, true + rng.normal(0.0, 3.0, way.size))
    grade = np.diff(height) / np.diff(distance)
    assert np.abs(grade).max() < 0.09
    assert height[-1] - height[0] == pytest.approx(20.0, abs=4.0)


@pytest.mark.parametrize(
    "setup",
    [
        make_setup(drives=(Drive("motor"),)),
        make_setup(drives=(Drive("a"), Drive("b"), Drive("c")), vehicle={"mass_kg": 90.0}),
        make_setup(drives=(Drive("motor", derate_from_v=44.0, stop_at_v=44.0),)),
    ],
)  # fmt: skip
def test_bare_setups_do_not_break_it(setup) -> None:
    for grade in (6.0, 0.0, -6.0):
        said = predict_hill(setup, [], even_hill(grade, 200.0, 30.0, -5.0), draws=20)
        json.loads(predict_json(said))


def test_an_edge_beyond_the_range_looked_at_is_open_and_said():
    """A walk up a gentle slope works on the coldest day looked at: at least so cold."""
    said = predict_hill(trike(), [], even_hill(1.0, 60.0, 80.0, 20.0, 1.5), draws=40)
    cold = said.works_up_to.temp_down_to_c
    assert cold.value == -20.0
    assert cold.low is None
    assert any(note.about == "works_up_to.temp_down_to_c" for note in said.notes)
