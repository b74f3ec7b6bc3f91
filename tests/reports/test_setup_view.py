"""What `setup check` prints and writes: every finding with its number, unit, remedy and cost."""

import io
import json

from rich.console import Console
from setup_maker import TRIKE, setup_of

from analyzer.setup_check import check_setup
from reports.setup_json import setup_json
from reports.setup_view import print_setup_check, setup_view, unit_of

BAD = TRIKE.replace("battery_drive_a = 17.5", "battery_drive_a = 28.0").replace(
    'name = "cargo trike"', 'name = "<b>cargo [bold]trike"'
)


def printed(text: str) -> str:
    setup = setup_of(text, "some/where/setup.toml")
    console = Console(file=io.StringIO(), soft_wrap=True)
    print_setup_check(check_setup(setup), setup, console)
    return console.file.getvalue()  # type: ignore[attr-defined]


def test_terminal_says_what_why_do_cost_caution_on_whole_lines():
    # 2 x 28 A + 1 A = 57 A over 40 A; 0.9 x 40 = 36, less 1 A of lights, halved: 17.5 A.
    said = printed(BAD)
    assert (
        "ACT   Driving: left 28 A + right 28 A + lights 1 A = 57 A; the BMS's rating is 40 A: "
        "17 A too much." in said
    )
    assert "Do. Set drives.left.battery_drive_a to 17.5 A: 2 × 17.5 A and 1 A for lights" in said
    assert "Cost. An 8 % climb at about " in said
    assert "The pull from a standstill stays" in said
    assert (
        "Caution. Raising the BMS's trip or bridging it is no remedy: it guards the cells." in said
    )
    assert "Not checked:" in said
    assert "add bms.discharge_peak_a, pack.discharge_peak_a" in said
    assert "<b>cargo [bold]trike (setup.toml)" in said
    assert "some/where" not in said


def test_terminal_of_a_setup_that_fits():
    said = printed(TRIKE)
    assert "ACT" not in said
    assert "to act on" not in said
    assert "In order on paper:" in said


def test_narrow_terminal_loses_no_words():
    setup = setup_of(BAD)
    console = Console(file=io.StringIO(), width=40, force_terminal=True, color_system=None)
    print_setup_check(check_setup(setup), setup, console)
    words = " ".join(console.file.getvalue().split())  # type: ignore[attr-defined]
    assert "stay 10 % under bms.discharge_rating_a, the lowest rating given" in words


def test_json_has_the_keys_of_the_contract():
    got = json.loads(setup_json(check_setup(setup_of(BAD))))
    assert set(got) == {"schema", "findings", "not_checked"}
    assert got["schema"] == "hillproof.setup/1"
    first = got["findings"][0]
    assert set(first) == {"check", "keys", "severity", "value", "limit", "message", "suggest"}
    assert first["check"] == "sum_of_battery_drive_limits"
    assert first["keys"] == ["drives.left.battery_drive_a", "pack.aux_a", "bms.discharge_rating_a"]
    assert (first["severity"], first["value"], first["limit"]) == ("act", 57, 40)
    assert [(s["key"], s["value"]) for s in first["suggest"]] == [
        ("drives.left.battery_drive_a", 17.5)
    ]
    assert set(first["suggest"][0]) == {"key", "value", "why"}
    assert all(set(one) == {"what", "missing"} for one in got["not_checked"])


def test_view_is_text_throughout():
    setup = setup_of(BAD)
    view = setup_view(check_setup(setup), setup)
    assert view.summary.startswith("2 to act on")
    assert view.file == "setup.toml"
    assert all(part.texts and part.label for row in view.rows for part in row.parts)


def test_units_of_keys():
    assert unit_of("drives.left.battery_drive_a") == "A"
    assert unit_of("drives.left.motor_stop_c") == "°C"
    assert unit_of("pack.series") == ""


def test_what_to_do_is_told_once_where_one_change_settles_several():
    # 57 A in all is above the BMS's 40 A and its trip at 50 A; 2 x 17.5 A settles both.
    driving = [one for one in printed(BAD).split("\n\n") if " Driving: left 28 A" in one]
    assert len(driving) > 1
    assert "Do. Set drives.left.battery_drive_a to 17.5 A" in driving[0]
    assert all("Do. The change told above settles this, too." in one for one in driving[1:])
