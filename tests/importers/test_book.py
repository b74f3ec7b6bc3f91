"""The book: kept whole or not at all, recognised by content, refused in plain words."""

import errno
import json
import multiprocessing
import os
import signal
import time
from dataclasses import replace
from datetime import datetime, timedelta, timezone
from pathlib import Path

import numpy as np
import pytest
from handmade import make_ride
from setup_maker import TRIKE, setup_of
from unprivileged import unprivileged

from importers import book as book_module
from importers.book import Book, content_hash
from importers.book_notes import HandNote, checked_measures
from importers.errors import BookError, UserError

START = datetime(2031, 5, 4, 9, 12, tzinfo=timezone(timedelta(hours=2)))


def ride_of(seed=0, days=0):
    rng = np.random.default_rng(seed)
    ride = make_ride(np.arange(600) / 10, {"pack_voltage_v": 50 + rng.normal(0, 1, 600)})
    return replace(ride, start=START + timedelta(days=days))


def book_path(book):
    return Path(book.place)


@pytest.fixture
def setup():
    return setup_of(TRIKE)


@pytest.fixture
def book(tmp_path):
    return Book(tmp_path / "my bööks")


def test_a_ride_comes_back_with_its_setup(book, setup):
    ride = ride_of()
    name, new = book.add(ride, setup, summary={"a": 1}, summary_version=3)
    assert new
    back, built = book.load(name)
    assert content_hash(back) == content_hash(ride)
    assert built.text == setup.text
    entry = book.find(name[:16])
    assert (entry.name, entry.start, entry.summary_version) == (name, START, 3)
    assert entry.summary == {"a": 1}


def test_a_ride_already_kept_is_known_by_its_content_or_its_files(book, setup):
    name, _ = book.add(ride_of(), setup, sources=["aa"])
    assert book.add(ride_of(), setup) == (name, False)
    assert book.by_sources()[("aa",)].name == name
    assert len(book.entries()) == 1


def test_without_a_date_it_is_refused_with_the_option_to_type(book, setup):
    with pytest.raises(BookError, match="--start"):
        book.add(replace(ride_of(), start=None), setup)
    assert not book.folder.exists()


def test_the_index_may_be_deleted_and_comes_back(book, setup):
    for day in range(3):
        book.add(ride_of(day, day), setup)
    before = book.entries()
    (book.folder / "index.json").unlink()
    assert book.entries() == before
    assert (book.folder / "index.json").exists()
    (book.folder / "index.json").write_text("{broken")
    assert book.entries() == before


def test_the_index_never_outlives_a_changed_file(book, setup):
    name, _ = book.add(ride_of(), setup, summary={"a": 1})
    entry = book.entries()[0]
    book.renew(entry, {"a": 2}, 9)
    assert book.find(name).summary == {"a": 2}
    assert content_hash(book.load(name)[0]) == entry.content


def test_order_is_by_start_and_names_must_be_clear(book, setup):
    for day in (2, 0, 1):
        book.add(ride_of(day, day), setup)
    assert [one.start.day for one in book.entries()] == [4, 5, 6]
    with pytest.raises(BookError, match="more than one"):
        book.find("2031-05")
    with pytest.raises(BookError, match="no ride of that name"):
        book.find("2030")


def test_files_that_are_no_rides_are_left_out_and_said(book, setup):
    from hillproof.book_jobs import left_out_text

    book.add(ride_of(1), setup)
    damaged, _ = book.add(ride_of(2, days=1), setup)
    assert left_out_text(book, book.entries()) == ""
    place = next(book_path(book).rglob(f"{damaged}*"))
    place.write_bytes(place.read_bytes()[:900])
    (place.parent / "other.parquet").write_bytes(b"PAR1 of something else")
    assert book.left_out(book.entries()) == sorted([place.name, "other.parquet"])
    said = left_out_text(book, book.entries())
    assert "2 files of the book could not be read as rides" in said
    assert "book check" in said


def test_removed_is_gone(book, setup):
    name, _ = book.add(ride_of(), setup)
    assert book.remove(name) == name
    assert book.entries() == []


def test_check_names_what_is_broken_foreign_and_left_over(book, setup):
    name, _ = book.add(ride_of(), setup)
    book.add(ride_of(1, 1), setup)
    assert book.check() == []
    rides = book.folder / "rides"
    file = rides / f"{name}.parquet"
    data = bytearray(file.read_bytes())
    data[200] ^= 0xFF  # inside the first column
    file.write_bytes(bytes(data))
    (rides / "foreign.parquet").write_bytes(b"nonsense")
    (rides / ".writing-1-x").write_bytes(b"half")
    faults = "\n".join(book.check())
    assert name in faults
    assert "foreign.parquet" in faults
    assert ".writing-1-x" in faults
    # One bad file does not take the good ones away.
    assert len(book.entries()) >= 1


def test_notes_come_back_by_day_and_a_broken_one_is_named(book):
    book.note(HandNote(about="2031-05-06", day="2031-05-06", text="re-made the connector"))
    book.note(HandNote(about="2031-05-04", day="2031-05-04", text="meter", rest_voltage_v=57.3))
    assert [one.text for one in book.notes()] == ["meter", "re-made the connector"]
    (book.folder / "notes" / "2031-x.note.json").write_text("{")
    assert len(book.notes()) == 2
    assert any("2031-x" in one for one in book.check())


def test_measures_that_cannot_be_are_refused_together():
    with pytest.raises(BookError) as caught:
        checked_measures(
            rest_voltage_v=-3,
            cell_min_v=4.1,
            cell_max_v=3.9,
            charged_ah=5,
            from_pct=80,
            to_pct=20,
        )
    for word in ("--rest-voltage", "--cell-max", "--to-pct"):
        assert word in str(caught.value)
    with pytest.raises(BookError, match="belong together"):
        checked_measures(
            rest_voltage_v=None,
            cell_min_v=None,
            cell_max_v=None,
            charged_ah=5,
            from_pct=None,
            to_pct=None,
        )


def test_a_full_disk_leaves_nothing_behind(book, setup, monkeypatch):
    book.add(ride_of(), setup)

    def full(*_args, **_kwargs):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(book_module, "write_ride_file", full)
    with pytest.raises(UserError, match="No space left"):
        book.add(ride_of(1, 1), setup)
    assert len(list((book.folder / "rides").iterdir())) == 1


def test_a_read_only_book_reads_and_says_why_it_cannot_write(setup):
    with unprivileged() as place:
        book = Book(place / "book")
        book.add(ride_of(), setup)
        rides = book.folder / "rides"
        kept = sorted(one.name for one in rides.iterdir())
        rides.chmod(0o500)
        book.folder.chmod(0o500)
        with pytest.raises(UserError, match="Permission denied") as told:
            book.add(ride_of(1, 1), setup)
        assert told.value.where == book.place  # not a hidden name that nobody typed
        with pytest.raises(UserError, match="Permission denied"):
            book.remove(kept[0].removesuffix(".parquet"))
        assert len(book.entries()) == 1
        assert sorted(one.name for one in rides.iterdir()) == kept


def test_a_damaged_ride_can_be_removed_by_its_name(book, setup):
    name, _ = book.add(ride_of(), setup)
    book.add(ride_of(1, 1), setup)
    path = book.folder / "rides" / f"{name}.parquet"
    path.write_bytes(path.read_bytes()[:3000])
    assert any(name in one for one in book.check())
    assert book.remove(name) == name
    assert book.check() == []
    assert len(book.entries()) == 1


def _add_many(folder, first, count, done):
    own = Book(folder)
    setup = setup_of(TRIKE)
    for seed in range(first, first + count):
        own.add(ride_of(seed, seed), setup)
    done.put(count)


def test_two_writers_at_once_lose_nothing(book):
    start = multiprocessing.get_context("spawn")
    done = start.Queue()
    pair = [start.Process(target=_add_many, args=(book.folder, first, 6, done)) for first in (0, 3)]
    for one in pair:
        one.start()
    for one in pair:
        one.join(60)
    assert [one.exitcode for one in pair] == [0, 0]
    assert len(book.entries()) == 9  # three of the twelve are the same rides
    assert book.check() == []


def test_a_kill_at_any_moment_leaves_whole_rides_only(book):
    start = multiprocessing.get_context("spawn")
    done = start.Queue()
    writer = start.Process(target=_add_many, args=(book.folder, 0, 400, done))
    writer.start()
    rides = book.folder / "rides"
    deadline = time.monotonic() + 60
    while time.monotonic() < deadline and len(list(rides.glob("[!.]*.parquet"))) < 5:
        time.sleep(0.01)
    os.kill(writer.pid, signal.SIGKILL)
    writer.join(30)
    assert len(book.entries()) >= 5
    assert all("safe to delete" in one for one in book.check())
    index = json.loads((book.folder / "index.json").read_text())
    assert len(index["files"]) == len(book.entries())
