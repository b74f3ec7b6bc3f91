"""Two rides against each other, from the contract's object."""

from reports.compare_view import compare_view, quantity_text

CLIMB = {
    "gain_m": 31.0,
    "length_m": 420.0,
    "grade_pct": {"value": 7.3, "low": 5.5, "high": 9.1},
    "peak_pack_current_a": 52.2,
    "mean_pack_current_a": 24.7,
    "min_voltage_v": 48.4,
    "margin_to_derate_v": None,
}
RESULT = {
    "schema": "hillproof.compare/1",
    "setup_changes": [{"key": "drives.left.battery_drive_a", "before": 29.0, "after": 17.0}],
    "differences": [
        {
            "quantity": "peak_pack_current_a",
            "before": {"value": 52.0, "low": 51.0, "high": 53.0},
            "after": {"value": 34.0, "low": 33.0, "high": 35.0},
            "change": {"value": -18.0, "low": -19.4, "high": -16.6},
            "beyond_chance": True,
        },
        {
            "quantity": "energy_wh",
            "before": None,
            "after": None,
            "change": None,
            "beyond_chance": None,
        },
    ],
    "climbs": [{"before": CLIMB, "after": {**CLIMB, "peak_pack_current_a": 34.3}}],
    "notes": [{"about": "climbs", "text": "One climb was ridden on both."}],
}


def test_changes_differences_and_climbs():
    view = compare_view(RESULT, "before", "after")
    assert view.headline == (
        "1 setting changed; 1 of 1 quantities differ beyond chance: highest pack current 52.0 A → "
        "34.0 A."
    )
    assert view.changes.rows[0].cells == (
        "Left: battery-current limit when driving",
        "29 A",
        "17 A",
    )
    assert view.differences.rows[0].cells == (
        "Highest pack current",
        "52.0 A (51.0 to 53.0)",
        "34.0 A (33.0 to 35.0)",
        "−18.0 A (−19.4 to −16.6)",
        "yes",
    )
    assert view.differences.rows[1].cells[1:] == (
        "not known",
        "not known",
        "not known",
        "–",
    )
    assert view.climbs.rows[0].cells[2] == "52.2 A → 34.3 A"
    assert view.climbs.rows[0].cells[-1] == "– → –"


def test_quantities_are_told_in_the_riders_words():
    assert quantity_text("left.phase_drive_in_force_a")[0] == (
        "Left saturates at: motor-current limit when driving"
    )
    assert quantity_text("left.share_pct")[:2] == ("Left: share while driving", "pct")
    assert quantity_text("energy_wh_per_km") == ("Energy for a kilometre", "", "Wh/km")
    assert quantity_text("climb 2: mean_speed_mps")[:2] == ("Climb 2, mean speed", "mps")


def test_nothing_beyond_chance_and_nothing_comparable_are_said():
    mild = {**RESULT, "differences": [{**RESULT["differences"][0], "beyond_chance": False}]}
    assert "no difference is larger" in compare_view(mild, "a", "b").headline
    assert "could be compared" in compare_view({**RESULT, "differences": []}, "a", "b").headline
