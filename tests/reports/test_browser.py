"""Pages as a reader meets them, in a real browser: nothing fails, nothing is fetched, all can be
reached by keyboard, read on a phone, in the dark and on paper.

Needs Chromium, node and `npm ci` in tests/reports/browser; skipped in one line without them.
"""

import json
import os
import shutil
import subprocess
from pathlib import Path

import pytest
from made.hostile_pages import DRIVES, IMAGE, PAGES, SCRIPT, hostile_result

from reports.book_pages import book_pages

HERE = Path(__file__).parent / "browser"
MUST_RUN = "HILLPROOF_BROWSER_MUST_RUN"
SIDE_BY_SIDE_PX = 900

pytestmark = pytest.mark.browser


def chromium() -> str | None:
    names = ("chromium", "chromium-browser", "google-chrome")
    return next((path for name in names if (path := shutil.which(name))), None)


@pytest.fixture(scope="module")
def seen(tmp_path_factory):
    missing = [
        what
        for what, there in (
            ("Chromium", chromium()),
            ("node", shutil.which("node")),
            ("npm ci in tests/reports/browser", (HERE / "node_modules").is_dir()),
        )
        if not there
    ]
    if missing:
        if os.environ.get(MUST_RUN):
            pytest.fail(f"browser checks must run here and lack {', '.join(missing)}")
        pytest.skip(f"browser checks need {', '.join(missing)}")
    folder = tmp_path_factory.mktemp("Seiten für Tests")
    places = {name: folder / f"{name}.html" for name in PAGES}
    for name, make in PAGES.items():
        places[name].write_text(make(), "utf-8")
    shelf = folder / "book"
    shelf.mkdir()
    for file, content in book_pages([(f"1 {IMAGE}", hostile_result())], []):
        (shelf / file).write_bytes(content if isinstance(content, bytes) else content.encode())
    places |= {"shelved": next(shelf.glob("ride-*.html")), "index": shelf / "index.html"}
    command = ["node", "check_pages.mjs", chromium(), *map(str, places.values())]
    done = subprocess.run(command, cwd=HERE, capture_output=True, text=True, timeout=300)
    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout)
    return {name: found[str(place)] for name, place in places.items()}


LOOKS = [f"{size} {scheme}" for size in ("desk", "phone") for scheme in ("light", "dark")]
ALL = (*PAGES, "shelved", "index")


@pytest.mark.parametrize("name", ALL)
@pytest.mark.parametrize("look", LOOKS)
def test_a_page_is_quiet_whole_and_open_to_everyone(seen, name, look):
    one = seen[name]["looks"][look]
    assert one["console"] == []
    wanted = ["plots.js"] if name == "shelved" else []
    assert [request.rsplit("/", 1)[-1] for request in one["requests"]] == wanted
    assert all(request.startswith("file:") for request in one["requests"])
    assert one["dialogs"] == []
    assert one["overflow"] <= 0
    assert one["axePasses"] > (20 if look.endswith("light") else 0)
    assert one["axe"] == []
    assert all(count > 0 for count in one["drawn"])


@pytest.mark.parametrize("name", [one for one in ALL if one != "bare"])
@pytest.mark.parametrize("look", LOOKS)
def test_hostile_names_are_shown_as_text(seen, name, look):
    one = seen[name]["looks"][look]
    assert SCRIPT in one["text"] or IMAGE in one["text"]
    assert not one["injected"]


def test_every_name_of_a_ride_is_shown_as_it_is(seen):
    """Vehicle, column, status code and hill are one text, drives, files and a note another."""
    text = seen["ride"]["looks"]["desk light"]["text"]
    for what in (f"Hill {SCRIPT}", f"The code {SCRIPT}", *DRIVES, f"{IMAGE}.csv", f"{IMAGE}.toml"):
        assert what in text, what


@pytest.mark.parametrize("look", LOOKS)
def test_findings_are_the_first_thing_seen(seen, look):
    one = seen["ride"]["looks"][look]
    assert len(one["headlines"]) == 5
    assert one["headlines"][0].startswith("Power went at 09:41:07")
    assert one["firstHeadlineTop"] < SIDE_BY_SIDE_PX
    assert len(one["drawn"]) == 5


def test_light_and_dark_reach_page_and_plots(seen):
    light, dark = (seen["ride"]["looks"][f"desk {scheme}"] for scheme in ("light", "dark"))
    assert light["paper"] != dark["paper"]
    assert light["plotInk"] != dark["plotInk"]


def test_by_keyboard_a_finding_leads_to_its_seconds_and_back(seen):
    keys = seen["ride"]["keyboard"]
    assert keys["console"] == []
    assert keys["firstStop"] == "skip"
    assert keys["zoomed"] == pytest.approx(keys["wanted"])
    assert keys["focus"] == "timeline-section"
    assert keys["back"] == pytest.approx(keys["whole"])


def test_without_unpacking_findings_and_tables_stay(seen):
    plain = seen["ride"]["without"]
    assert "cannot be drawn here" in plain["said"]
    assert plain["headlines"] == 5
    assert plain["tables"] >= 7
    assert plain["console"] == []


def test_paper_is_black_on_white_even_in_the_dark(seen):
    paper = seen["ride"]["paper"]
    assert paper["console"] == []
    assert paper["ink"] == "rgb(0, 0, 0)"
    assert paper["hidden"]
    assert paper["bytes"] > 20_000


def test_first_plot_is_reported(seen, record_property):
    """How soon the first plot stands is a figure, not a pass or fail: machines differ."""
    times = {look: seen["ride"]["looks"][look]["firstPlotMs"] for look in LOOKS}
    record_property("first_plot_ms", times)
    assert all(value is not None for value in times.values())
