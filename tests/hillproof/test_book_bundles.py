"""Which files handed to `book add` are one ride, and what lies beside logs and is none."""

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest
from handmade import make_ride
from setup_maker import TRIKE, setup_of

from hillproof import book_jobs
from hillproof.book_bundles import bundles
from hillproof.book_command import _told_once
from hillproof.book_jobs import Added, DayFacts, add_all, judge
from importers.book import Book
from importers.errors import BookError
from importers.ride_file import write_ride_file
from reports.events_csv import COLUMNS as EVENTS

CURVES = (
    "state_of_charge,volts_per_cell\n0,3.0\n1,4.2\n",
    "# source: my meter\nvolts_per_cell;state_of_charge\n3,0;0\n4,2;1\n",
)
LOG = "time [s],Battery voltage [V],state_of_charge\n0,51.8,0.6\n0.1,51.7,0.6\n"


def kept_ride(day=4):
    rng = np.random.default_rng(day)
    ride = make_ride(np.arange(600) / 10, {"pack_voltage_v": 50 + rng.normal(0, 1, 600)})
    return replace(ride, start=datetime(2031, 5, day, 9, tzinfo=UTC))


@pytest.mark.parametrize("curve", CURVES)
def test_what_lies_beside_logs_is_no_log(tmp_path, curve):
    # The setup names its curve beside it, and `ride --events` wrote into the same folder.
    (tmp_path / "curve.csv").write_text(curve)
    (tmp_path / "events.csv").write_text(",".join(EVENTS) + "\r\n")
    (tmp_path / "left.csv").write_text(LOG)
    assert list(bundles([str(tmp_path)])) == [(str(tmp_path), (str(tmp_path / "left.csv"),), "")]


def test_a_folder_without_logs_is_told_and_the_others_go_on(tmp_path):
    for name in ("empty", "full"):
        (tmp_path / name).mkdir()
    (tmp_path / "full" / "a.csv").write_text(LOG)
    none, one = bundles([str(tmp_path / "empty"), str(tmp_path / "full")])
    assert "no log is in this folder" in none.error
    assert none.what in none.error
    assert (one.logs, one.error) == ((str(tmp_path / "full" / "a.csv"),), "")


def test_ride_files_go_from_one_book_into_another_with_their_own_setups(tmp_path):
    old, new = Book(tmp_path / "old"), Book(tmp_path / "new")
    for day, name in ((4, "blue"), (5, "red")):
        old.add(kept_ride(day), setup_of(TRIKE.replace("[pack]", f'[pack]\nname = "{name}"')))
    answers = list(add_all(new, [str(tmp_path / "old")], DayFacts()))
    assert [(one.new, one.error) for one in answers] == [(True, "")] * 2
    same = [[(one.name, one.pack, one.content) for one in book.entries()] for book in (old, new)]
    assert same[0] == same[1]


def test_a_ride_file_named_alone_needs_no_setup_and_takes_the_days_facts(tmp_path):
    write_ride_file(replace(kept_ride(), start=None), setup_of(TRIKE), tmp_path / "r.parquet")
    facts = DayFacts(mass_kg=300.0, start="2031-05-06T10:00")
    (answer,) = add_all(Book(tmp_path / "b"), [str(tmp_path / "r.parquet")], facts)
    assert answer.error == ""
    ride, _ = Book(tmp_path / "b").load(answer.name or "")
    assert (ride.facts.mass_kg, ride.start.date().isoformat()) == (300.0, "2031-05-06")


def test_no_ride_since_the_pack_went_into_service_is_refused_with_the_reason(tmp_path):
    late = setup_of(TRIKE.replace("[pack]", "[pack]\nin_service_since = 2031-06-01"))
    book = Book(tmp_path / "b")
    book.add(kept_ride(), late)
    with pytest.raises(BookError, match=r"no ride is kept since 2031-06-01.*2031-05-04"):
        judge(book, None)


def test_one_reason_for_many_rides_is_told_once_with_their_names():
    bad = [Added(f"r{k}", None, new=False, error="b: no space left.") for k in range(5)]
    bad.append(Added("x.csv", None, new=False, error="x.csv: the file is empty."))
    assert _told_once(bad) == [
        "b: no space left. Not kept: r0, r1, r2 and 2 more.",
        "x.csv: the file is empty.",
    ]


def test_a_fault_of_ours_in_one_ride_is_told_and_the_others_go_on(tmp_path, monkeypatch):
    real = book_jobs._add_new

    def faulty(book, what, logs, facts, hashes):
        if "bad" in what:
            raise ZeroDivisionError("by\nnothing")
        return real(book, what, logs, facts, hashes)

    monkeypatch.setattr(book_jobs, "_add_new", faulty)
    monkeypatch.setattr(book_jobs, "_workers", lambda book: 1)
    for name, day in (("bad", 4), ("good", 5)):
        write_ride_file(kept_ride(day), setup_of(TRIKE), tmp_path / f"{name}.parquet")
    places = [str(tmp_path / f"{name}.parquet") for name in ("bad", "good")]
    bad, good = add_all(Book(tmp_path / "b"), places, DayFacts())
    assert (good.new, good.error) == (True, "")
    assert bad.error.startswith(f"{places[0]}: hillproof failed on it")
    assert "ZeroDivisionError: by nothing" in bad.error
