"""A book on other file systems: the same book, whole or not at all, and plain words."""

import json
import multiprocessing
import os
import signal
import subprocess
import sys
import time
from dataclasses import replace
from datetime import datetime, timedelta, timezone
from pathlib import Path

import numpy as np
import pytest
from handmade import make_ride
from setup_maker import TRIKE, setup_of
from unprivileged import unprivileged

from importers.book import Book
from importers.book_notes import HandNote
from importers.errors import BookError, UserError
from importers.ride_file import read_ride_file

fsspec = pytest.importorskip("fsspec")

START = datetime(2031, 5, 4, 9, 12, tzinfo=timezone(timedelta(hours=2)))
TOP = Path(__file__).parents[2]


def ride_of(seed=0, rows=600):
    rng = np.random.default_rng(seed)
    ride = make_ride(np.arange(rows) / 10, {"pack_voltage_v": 50 + rng.normal(0, 1, rows)})
    return replace(ride, start=START + timedelta(days=seed))


@pytest.fixture(params=["memory", "file", "dir", "dir in a folder"])
def place(request, tmp_path):
    if request.param == "memory":
        fsspec.filesystem("memory").store.clear()
        return "memory://club/book"
    if request.param == "file":
        return f"file://{tmp_path}/bööks"
    if request.param == "dir":
        return f"dir::file://{tmp_path}/book"
    return f"dir://one/book::file://{tmp_path}"


def test_a_book_elsewhere_is_a_book(place):
    setup = setup_of(TRIKE)
    book = Book(place)
    assert book.entries() == []
    names = [book.add(ride_of(seed), setup, summary={"n": seed}) for seed in range(3)]
    assert [new for _, new in names] == [True, True, True]
    assert book.add(ride_of(1), setup) == (names[1][0], False)
    again = Book(place)
    assert [one.name for one in again.entries()] == [name for name, _ in names]
    assert [one.summary for one in again.entries()] == [{"n": seed} for seed in range(3)]
    ride, own = again.load(names[2][0])
    assert own == setup or own.text == setup.text
    assert np.allclose(ride.table["pack_voltage_v"], ride_of(2).table["pack_voltage_v"], atol=1e-4)
    assert read_ride_file(again.entries()[0].path)[0].start == START
    again.renew(again.entries()[0], {"n": 7}, 2)
    assert Book(place).entries()[0].summary == {"n": 7}
    book.note(HandNote(day="2031-05-06", about="2031-05-06", text="new tyre"))
    assert [one.text for one in Book(place).notes()] == ["new tyre"]
    assert book.check() == []
    book.remove(names[0][0])
    assert len(Book(place).entries()) == 2


def test_an_index_that_is_gone_or_broken_comes_back(place):
    book = Book(place)
    book.add(ride_of(), setup_of(TRIKE))
    assert len(book.entries()) == 1
    known = book.store.read("", "index.json")
    assert known is not None
    book.store.replace("", "index.json", lambda path: Path(path).write_text("{"))
    assert len(Book(place).entries()) == 1
    assert json.loads(Book(place).store.read("", "index.json")) == json.loads(known)


def test_what_breaks_off_leaves_nothing(monkeypatch):
    fsspec.filesystem("memory").store.clear()
    book = Book("memory://club/book")
    book.add(ride_of(), setup_of(TRIKE))
    for step in ("put_file", "mv"):
        with monkeypatch.context() as patched:
            patched.setattr(book.store._system, step, _full)
            with pytest.raises(BookError, match="No space left"):
                book.add(ride_of(1), setup_of(TRIKE))
        assert book.check() == []
        assert len(book.entries()) == 1


def _full(*_args, **_kwargs):
    raise OSError(28, "No space left on device")


def _driver_fault(*_args, **_kwargs):
    raise RuntimeError("endpoint\nnot reachable")


def test_a_drivers_own_error_is_one_plain_message(monkeypatch):
    book = Book("memory://club/book")
    monkeypatch.setattr(book.store._system, "ls", _driver_fault)
    with pytest.raises(BookError, match="endpoint not reachable") as told:
        book.entries()
    assert "\n" not in str(told.value)


@pytest.mark.parametrize(
    ("place", "words"),
    [
        ("foo://x/book", "no such kind of place"),
        ("dir::foo://x", "no such kind of place"),
        ("dropbox://x/book", "not installed"),
    ],
)
def test_addresses_that_lead_nowhere_are_told_in_plain_words(place, words):
    with pytest.raises(UserError, match=words):
        Book(place).entries()


def test_no_right_to_write_there():
    with unprivileged() as folder:
        place = f"dir::file://{folder}"
        Book(place).add(ride_of(), setup_of(TRIKE))
        (folder / "rides").chmod(0o500)
        folder.chmod(0o500)
        with pytest.raises(BookError, match="Permission denied"):
            Book(place).add(ride_of(1), setup_of(TRIKE))
        assert len(Book(place).entries()) == 1


def _add_until_killed(place):
    book = Book(place)
    for seed in range(400):
        book.add(ride_of(seed, rows=20_000), setup_of(TRIKE))


def test_killed_at_any_moment_elsewhere_every_ride_is_whole(tmp_path):
    place = f"dir::file://{tmp_path}"
    writer = multiprocessing.get_context("spawn").Process(target=_add_until_killed, args=(place,))
    writer.start()
    rides = tmp_path / "rides"
    for _ in range(600):
        time.sleep(0.05)
        if rides.is_dir() and len(list(rides.glob("*.parquet"))) >= 4:
            break
    os.kill(writer.pid, signal.SIGKILL)
    writer.join()
    book = Book(place)
    assert len(book.entries()) >= 3
    for fault in book.check():
        assert "left by a writer" in fault
    for one in book.entries():
        assert len(book.load(one.name)[0].table) == 20_000


def test_the_command_line_takes_an_address(tmp_path):
    def run(*arguments):
        return subprocess.run(
            [sys.executable, "-m", "hillproof", *arguments], capture_output=True, text=True,
            cwd=tmp_path, env={**os.environ, "PYTHONPATH": str(TOP)}, timeout=120,
        )  # fmt: skip

    place = f"dir::file://{tmp_path}/book"
    logs = [str(one) for one in sorted((TOP / "sample_logs" / "hill").glob("*.csv"))]
    setup = str(TOP / "sample_logs" / "setup.toml")
    done = run("book", "add", *logs, "--setup", setup, "--book", place)
    assert done.returncode == 0, done.stderr
    name = done.stdout.split()[-1]
    for command in (["book", "list"], ["book", "check"], ["limits"]):
        done = run(*command, "--book", place)
        assert done.returncode == 0, done.stderr
    done = run("ride", name, "--book", place)
    assert done.returncode == 0, done.stderr
    done = run("book", "list", "--book", "foo://x")
    assert (done.returncode, done.stderr.count("\n")) == (2, 1)
