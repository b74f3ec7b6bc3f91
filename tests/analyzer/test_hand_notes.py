"""Measurements by hand beside the logs."""

import pytest

from analyzer.ageing_capacity import capacity_course
from analyzer.hand_notes import cell_spread_note, charges_by_hand
from importers.book_notes import HandNote
from simulator.books import make_book


def test_a_counted_charge_is_a_capacity():
    # 12 Ah from 20 to 80 % is 20 Ah from 0 to 100 %, closed form.
    notes = [
        HandNote(f"2031-0{m}-01", f"2031-0{m}-01", "", charged_ah=12.0, from_pct=20, to_pct=80)
        for m in range(1, 8)
    ]
    course = capacity_course(charges_by_hand(notes, 20.0), own_curve=True)
    assert course.now_ah.value == pytest.approx(20.0, rel=1e-3)
    assert course.fade_pct_per_year.low < 0 < course.fade_pct_per_year.high


def test_monthly_charges_make_the_fade_surer():
    # Floor: fade within 1 point with a charge a month.
    widths = []
    for monthly in (False, True):
        kept, truth = make_book(3, fade_pct_per_year=4.0)
        if monthly:
            notes = []
            for month in range(14):
                year, number = 2031 + (month + 2) // 12, (month + 2) % 12 + 1
                day = f"{year}-{number:02d}-15"
                age = (month + 0.5) / 12
                held = truth.capacity_now_ah / (1 - 0.04 * 1.16) * (1 - 0.04 * age)
                notes.append(HandNote(day, day, "", charged_ah=0.7 * held, from_pct=20, to_pct=90))
            kept = sorted([*kept, *charges_by_hand(notes, 20.0)], key=lambda one: one.start)
        fade = capacity_course(kept, own_curve=True).fade_pct_per_year
        widths.append(fade.half_width)
    assert widths[1] < widths[0]
    assert abs(fade.value - 4.0) < 1.0


def test_cells_apart_are_told_first_and_last():
    assert cell_spread_note([]) is None
    notes = [
        HandNote("2031-01-01", "2031-01-01", "", cell_min_v=4.10, cell_max_v=4.112),
        HandNote("2031-09-01", "2031-09-01", "", cell_min_v=4.08, cell_max_v=4.14),
    ]
    text = cell_spread_note(notes).text
    assert "60 mV" in text
    assert "12 mV" in text
    assert "worth a look" in text
