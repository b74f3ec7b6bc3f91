"""Pages by meaning: what stands on them, and what must never."""

import base64
import gzip
import re
from dataclasses import replace
from html.parser import HTMLParser

import numpy as np
import pytest
from made.ride_results import bare_result, made_result
from page_figures import figures_of, figures_text

from importers.ride import ChannelReading
from reports.page import MOST_BYTES, ride_page

HOSTILE = '"><script>window.hostile = 1</script><img src=x onerror="window.hostile=1">'


class Reading(HTMLParser):
    """Elements by name, the visible text, and the text of scripts by id."""

    def __init__(self, page):
        super().__init__()
        self.tags, self.words, self.scripts, self.inside = [], [], {}, []
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        if tag in ("script", "style"):
            self.inside = [dict(attrs).get("id", tag)]

    def handle_endtag(self, tag):
        if tag in ("script", "style"):
            self.inside = []

    def handle_data(self, data):
        if self.inside:
            self.scripts[self.inside[0]] = self.scripts.get(self.inside[0], "") + data
        else:
            self.words.append(data)

    @property
    def text(self):
        return " ".join(" ".join(self.words).split())


def hostile_result():
    full = made_result(("left", HOSTILE))
    source = full.ride.sources[0]
    reading = ChannelReading(HOSTILE, None, HOSTILE, 1, None, 0.0)
    source = replace(
        source,
        file=f"logs/{HOSTILE}.csv",
        channels=(*source.channels, reading),
        problems=(HOSTILE,),
    )
    setup = replace(full.setup, vehicle=replace(full.setup.vehicle, name=HOSTILE))
    facts = replace(full.ride.facts, note=HOSTILE)
    return replace(full, ride=replace(full.ride, sources=(source,), facts=facts), setup=setup)


def test_findings_come_first_with_number_limit_and_advice():
    text = Reading(ride_page(made_result())).text
    findings = text[text.index("What happened") : text.index("The ride over time")]
    for part in (
        "Power went at 09:41:07 on Mill Lane because the drives together drew more than the "
        "battery management system allows. 93 % sure.",
        "Otherwise A connector, fuse or switch broke the supply, 5 %",
        "Do Set each drive's battery limit to 17.5 A or less",
        "Cost The climb at about 17 km/h",
        "Caution The BMS did its job",
        "Braking pushed 13.6 A into the pack, above the cells' charge rating of 10.5 A",
    ):
        assert part in findings


def test_every_section_has_what_the_result_holds():
    text = Reading(ride_page(made_result())).text
    for part in (
        "79.0 mΩ",
        "77.0 to 81.0",
        "50.8 % (50.1 to 51.5)",
        "BMS, discharge rating",
        "53.6 A",
        "Mill Lane",
        "I bat left [A]",
        "wiring.fuse_a and wiring.connector_rating_a",
        "The ride used 8 % of the charge: too little to tell.",
        "A lithium pack can burn.",
    ):
        assert part in text


@pytest.mark.parametrize("make", [made_result, lambda: made_result(("motor",)), bare_result])
def test_the_same_ride_gives_the_same_bytes(make):
    assert ride_page(make()) == ride_page(make())


def test_text_from_logs_and_setup_is_text():
    page = ride_page(hostile_result())
    read = Reading(page)
    assert HOSTILE in "".join(read.words)
    assert not [attrs for tag, attrs in read.tags if tag == "img"]
    scripts = [attrs.get("id") for tag, attrs in read.tags if tag == "script"]
    assert scripts == ["figures", "plot-script", None]
    assert "<script>window.hostile" not in page


def test_nothing_is_loaded_from_anywhere():
    page = ride_page(made_result())
    read = Reading(page)
    own = page.replace(read.scripts["plot-script"], "") + figures_text(page)
    for _, attrs in read.tags:
        for name in ("src", "href", "data", "action", "poster"):
            value = attrs.get(name) or ""
            assert value.startswith(("#", "data:")) or not value
    assert not re.search(r"@import|url\((?!data:)|https?://", own)
    policy = next(a for t, a in read.tags if a.get("http-equiv") == "Content-Security-Policy")
    assert "default-src 'none'" in policy["content"]
    assert "http" not in policy["content"]


def test_the_plot_script_is_there_once_and_whole():
    from importlib.resources import files

    page = ride_page(made_result())
    packed = Reading(page).scripts["plot-script"]
    assert page.count(packed[:200]) == 1
    whole = (files("plotly") / "package_data" / "plotly.min.js").read_bytes()
    assert gzip.decompress(base64.b64decode(packed)) == whole


def test_no_place_and_no_path_leaves():
    page = ride_page(made_result())
    for secret in ("47.1234", "8.6543", "/home/", "builds/"):
        assert secret not in page + figures_text(page)


def arrays(page):
    """Every trace of the timeline, unpacked: name -> (x, y)."""
    figure = figures_of(page)["timeline"]
    return [
        (
            one["name"],
            *(
                np.frombuffer(base64.b64decode(one[axis]["bdata"]), "<f4")
                if isinstance(one[axis], dict)
                else np.array(one[axis])
                for axis in "xy"
            ),
        )
        for one in figure["data"]
    ]


def test_a_spike_of_one_sample_in_three_hours_is_on_the_plot_within_the_budget():
    result = made_result(duration_s=3 * 3600.0, rate_hz=50.0)
    result.table.loc[400_000, "left.battery_current_a"] = 91.25
    page = ride_page(result)
    left = [y for name, _, y in arrays(page) if name == "left"]
    assert any(np.nanmax(y) == np.float32(91.25) for y in left)
    assert all(x.size <= 4000 for _, x, _ in arrays(page))
    assert len(page.encode()) < MOST_BYTES


def test_the_fullest_ride_stays_within_the_budget():
    # Six drives for three hours at 50 Hz, four losses, twelve climbs, six hundred events.
    names = tuple(f"drive {i}" for i in range(6))
    full = made_result(names, duration_s=3 * 3600.0, rate_hz=50.0)
    cutout = full.events[2]
    losses = [replace(cutout, start_s=500.0 * i + 300, end_s=500.0 * i + 309) for i in range(8)]
    others = [replace(full.events[0], start_s=10.0 * i, end_s=10.0 * i + 5) for i in range(600)]
    climb = full.climbs[0]
    climbs = tuple(replace(climb, start_s=600.0 * i, end_s=600.0 * i + 300) for i in range(12))
    page = ride_page(replace(full, events=(*losses, *others), climbs=climbs))
    # A tenth of the contract's 3 MB stays for what no made ride has.
    assert len(page.encode()) < 0.9 * MOST_BYTES


def test_every_event_is_marked_and_every_place_lies_in_the_ride():
    result = made_result()
    page = ride_page(result)
    marks = sum(x.size for name, x, _ in arrays(page) if name in ("act", "watch", "note"))
    assert marks == len(result.events)
    places = [a for t, a in Reading(page).tags if t == "a" and a.get("class") == "place"]
    assert len(places) == 3 + len(result.climbs) + len(result.events)
    for one in places:
        assert float(one["data-from"]) < float(one["data-to"])


def test_a_bare_ride_says_what_it_cannot():
    text = Reading(ride_page(bare_result())).text
    assert "Nothing was found that needs telling." in text
    assert "No current is logged." in text
    assert "not known" in text
