"""Rides and charges of another hand (tests/probe) through the book, held against their truth."""

from probe import months

from hillproof.book_jobs import DayFacts, add_all, judge
from importers.book import Book


def test_a_charge_log_from_files_tells_the_capacity(tmp_path):
    truth = months.draw(7, months.Plan(kind="commuter", rides=2, months=1, charges=True))
    places = [str(one) for one in months.rides(truth, tmp_path / "logs")]
    book = Book(tmp_path / "book")
    assert [one.kind for one in add_all(book, places, DayFacts())] == ["ride", "charge", "ride"]
    told = {one.kept.summary.kind: one.kept.summary for one in judge(book, None).per_ride}
    value, low, high = told["charge"].capacity_ah
    assert low <= truth.cells.capacity_ah <= high
    assert abs(value / truth.cells.capacity_ah - 1) < 0.03  # the current's scale is its own
    value, low, high = told["ride"].resistance_10s_25c_ohm
    assert low <= truth.at(1).pulse_ohm() <= high
