"""A folder of pages: every link leads somewhere, one plot script for all."""

import re

import pytest
from made.ride_results import bare_result, made_result
from setup_maker import setup_of

from analyzer.ageing import judge_ageing
from reports.book_pages import INDEX, SCRIPT, book_pages, file_of
from simulator.books import make_book


@pytest.fixture(scope="module")
def pages():
    kept, _ = make_book(3, rides=20, months=12)
    rides = [
        ("2031-05-04 a", made_result()),
        ("2031-05-04/a", bare_result()),
        ("<x>", bare_result()),
    ]
    return dict(book_pages(iter(rides), [("blue pack", judge_ageing(kept, setup_of()))]))


def test_every_link_leads_to_a_page_or_a_place_on_it(pages):
    for name, page in pages.items():
        if name == SCRIPT:
            continue
        for link in re.findall(r'(?:href|src)="([^"#]*)(#[^"]*)?"', page):
            target, place = link
            assert target in ("", "data:,") or target in pages, (name, target)
            if place and not target:
                assert f'id="{place[1:]}"' in page, (name, place)


def test_the_plot_script_is_in_the_folder_once(pages):
    assert len(pages[SCRIPT]) > 1_000_000
    for name, page in pages.items():
        if name != SCRIPT:
            assert 'id="plot-script"' not in page
            assert len(page.encode()) < 1_000_000


def test_two_rides_never_share_a_file(pages):
    # Rides, ageing of the pack, limits of the build, index, script.
    assert len(pages) == 3 + 1 + 1 + 1 + 1
    assert file_of("ride", "../../etc/passwd") == "ride-etc-passwd.html"
    assert file_of("ride", "ä") == "ride-one.html"


def test_the_index_names_rides_and_packs_as_text(pages):
    index = pages[INDEX]
    assert "&lt;x&gt;" in index
    assert "<x>" not in index
    assert "Blue pack" in index
    assert "Power went at 09:41:07" in index
