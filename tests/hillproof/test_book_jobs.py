"""Notes by hand: what cannot be of this pack is refused, and says why."""

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest
from handmade import make_ride
from setup_maker import TRIKE, setup_of

from hillproof.book_jobs import keep_note
from importers.book import Book
from importers.book_notes import checked_measures
from importers.errors import BookError

NOTHING = dict.fromkeys(
    ("rest_voltage_v", "cell_min_v", "cell_max_v", "charged_ah", "from_pct", "to_pct")
)
SMALL = TRIKE.replace("series = 16", "series = 7").replace("overvoltage_v = 67.6\n", "")
SMALL = SMALL.replace("derate_from_v = 52.8\nstop_at_v = 48.0\n", "")


def with_rides(folder, **packs):
    book = Book(folder)
    for day, (name, text) in enumerate(packs.items(), 4):
        ride = make_ride(np.arange(600) / 10, {"pack_voltage_v": np.linspace(50, 49, 600) + day})
        ride = replace(ride, start=datetime(2031, 5, day, 9, tzinfo=UTC))
        book.add(ride, setup_of(text.replace("[pack]", f'[pack]\nname = "{name}"')))
    return book


def note(book, about="2031-05-04", text="measured", **measures):
    return keep_note(book, about, text, checked_measures(**(NOTHING | measures)))


# 16 cells in series, 21 Ah, full at 4.20 V: hand-worked.
@pytest.mark.parametrize(
    ("measures", "says"),
    [
        ({"rest_voltage_v": 3.9}, r"0\.24 V.*whole pack"),
        ({"rest_voltage_v": 400.0}, r"25\.00 V"),
        ({"rest_voltage_v": 69.2}, r"4\.33 V"),
        ({"cell_max_v": 4.4}, r"above a full cell's 4\.2 V"),
        ({"rest_voltage_v": 60.0, "cell_min_v": 4.0, "cell_max_v": 4.1}, "does not lie between"),
        ({"charged_ah": 50.0, "from_pct": 0.0, "to_pct": 100.0}, r"50\.0 Ah.*rated 21 Ah"),
        ({"charged_ah": 1.5, "from_pct": 0.0, "to_pct": 100.0}, r"1\.5 Ah.*rated 21 Ah"),
        ({"charged_ah": 5.0, "from_pct": 50.0, "to_pct": 51.0}, r"500\.0 Ah"),
    ],
)
def test_what_cannot_be_this_pack_is_refused(tmp_path, measures, says):
    book = with_rides(tmp_path / "b", blue=TRIKE)
    with pytest.raises(BookError, match=says):
        note(book, **measures)
    assert book.notes() == []


@pytest.mark.parametrize(
    "measures",
    [
        {"rest_voltage_v": 67.2},
        {"rest_voltage_v": 30.0},  # found flat after a winter
        {"rest_voltage_v": 60.0, "cell_min_v": 3.70, "cell_max_v": 3.80},
        {"charged_ah": 12.0, "from_pct": 40.0, "to_pct": 100.0},
        {"charged_ah": 1.5, "from_pct": 94.0, "to_pct": 98.0},  # 37 Ah, levels read off a display
    ],
)
def test_what_can_be_is_kept(tmp_path, measures):
    book = with_rides(tmp_path / "b", blue=TRIKE)
    note(book, **measures)
    assert len(book.notes()) == 1


def test_a_note_is_held_against_the_pack_it_belongs_to(tmp_path):
    book = with_rides(tmp_path / "b", blue=TRIKE, red=SMALL)  # 4 May, 5 May
    with pytest.raises(BookError, match=r"pack red.*7 cells in series"):
        note(book, "2031-05-05", rest_voltage_v=60.0)
    note(book, "2031-05-04", rest_voltage_v=60.0)
    note(book, "2031-05-05", rest_voltage_v=27.0)


def test_a_note_needs_words_and_a_book_with_rides(tmp_path):
    with pytest.raises(BookError, match="no ride yet"):
        note(Book(tmp_path / "typed wrong"))
    assert not (tmp_path / "typed wrong").exists()
    with pytest.raises(BookError, match="no text"):
        note(with_rides(tmp_path / "b", blue=TRIKE), text=" ")
