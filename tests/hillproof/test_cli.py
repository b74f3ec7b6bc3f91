"""The command line as a process: exit statuses, messages, and that nothing is half written."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

TOP = Path(__file__).parents[2]
SAMPLES = TOP / "sample_logs"


@pytest.fixture(scope="module")
def place(tmp_path_factory):
    # A folder with a space and an umlaut in its name.
    folder = tmp_path_factory.mktemp("mein Füllhorn x")
    for one in (SAMPLES / "hill").glob("*.csv"):
        (folder / one.name).write_bytes(one.read_bytes())
    (folder / "setup.toml").write_bytes((SAMPLES / "setup.toml").read_bytes())
    return folder


def run(*arguments, cwd, input=None):
    env = {**os.environ, "PYTHONPATH": str(TOP), "HILLPROOF_TRACEBACK": ""}
    return subprocess.run(
        [sys.executable, "-m", "hillproof", *arguments], capture_output=True, text=True, cwd=cwd,
        env=env, timeout=120, input=input,
    )  # fmt: skip


def logs(place):
    return sorted(one.name for one in place.glob("*.csv") if one.name != "events.csv")


def test_the_main_job_writes_everything_asked_for(place):
    done = run(
        "ride", *logs(place), "--report", "r.html", "--json", "r.json", "--events", "events.csv",
        "--table", "ride.parquet", cwd=place,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert "\x1b[" not in done.stdout
    result = json.loads((place / "r.json").read_text())
    assert result["schema"] == "hillproof.ride/1"
    assert result["ride"]["drives"] == ["left", "right"]
    assert 2400 < result["ride"]["distance_m"] < 2600  # sample_logs/README.md
    head = (place / "events.csv").read_text().splitlines()[0]
    assert head == (
        "kind,start_s,end_s,severity,drives,quantity,peak,limit,limit_value,cause,probability,remedy"
    )
    assert (place / "ride.parquet").stat().st_size > 10_000


def test_a_dash_prints_the_json_and_nothing_else(place):
    done = run("ride", *logs(place), "--json", "-", cwd=place)
    assert json.loads(done.stdout)["schema"] == "hillproof.ride/1"


@pytest.mark.parametrize("arguments", [("look", "left.csv"), ("ride",), ("--help",)])
def test_a_reader_that_has_gone_is_no_fault(place, arguments):
    names = logs(place) if arguments == ("ride",) else []
    reader, writer = os.pipe()
    os.close(reader)
    done = subprocess.run(
        [sys.executable, "-m", "hillproof", *arguments, *names], stdout=writer, cwd=place,
        stderr=subprocess.PIPE, text=True, env={**os.environ, "PYTHONPATH": str(TOP)}, timeout=120,
    )  # fmt: skip
    os.close(writer)
    assert (done.returncode, done.stderr) == (0, "")


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="the system has no full device")
@pytest.mark.parametrize("arguments", [("look", "left.csv"), ("--help",)])
def test_a_full_disk_behind_the_output_is_one_message(place, arguments):
    with open("/dev/full", "w") as full:
        done = subprocess.run(
            [sys.executable, "-m", "hillproof", *arguments], stdout=full, cwd=place,
            stderr=subprocess.PIPE, text=True, env={**os.environ, "PYTHONPATH": str(TOP)},
            timeout=120,
        )  # fmt: skip
    assert done.returncode == 2
    assert done.stderr.count("\n") == 1
    assert "No space left" in done.stderr


def test_strict_turns_something_to_act_on_into_1(place):
    assert run("ride", *logs(place), "--strict", "--quiet", cwd=place).returncode == 1
    assert run("ride", *logs(place), "--quiet", cwd=place).stdout == ""


def test_a_ride_file_stands_on_its_own(place):
    run("ride", *logs(place), "--table", "alone.parquet", "--quiet", cwd=place)
    done = run("setup", "check", "setup.toml", "alone.parquet", "--json", "-", cwd=place)
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["schema"] == "hillproof.setup/1"


BAD = {
    "missing file": (["nowhere.csv"], "no such file"),
    "empty file": (["empty.bad"], "empty"),
    "picture": (["picture.bad"], "picture"),
    "header only": (["header.bad"], "no rows"),
    "nine rows": (["short.bad"], "at least 10"),
    "time never rises": (["still.bad"], "rises"),
    "no voltage": (["left=blind.bad"], "voltage"),
    "output without folder": (["left.csv", "--report", "none/r.html"], "does not exist"),
    "output is an input": (["left.csv", "--json", "left.csv"], "one of the inputs"),
    "unknown drive": (["lefd=left.csv"], "left="),
    "bad start": (["left.csv", "--start", "noon"], "2031-05-04T09:12"),
    "missing setup": (["left.csv", "--setup", "no.toml"], "no.toml"),
    "open without report": (["left.csv", "--open"], "--report"),
}


@pytest.fixture(scope="module")
def bad_place(place):
    (place / "empty.bad").write_bytes(b"")
    (place / "picture.bad").write_bytes(b"\x89PNG\r\n\x1a\n" + bytes(range(256)))
    head = "time [s],battery voltage [V],battery current [A]\n"
    (place / "header.bad").write_text(head)
    (place / "short.bad").write_text(head + "".join(f"{i},50,{i}\n" for i in range(9)))
    (place / "still.bad").write_text(head + "5,50,3\n" * 40)
    rows = "".join(f"{i / 10},{i % 7}\n" for i in range(400))
    (place / "blind.bad").write_text("time [s],battery current [A]\n" + rows)
    return place


@pytest.mark.parametrize("case", BAD)
def test_bad_input_is_one_plain_message_and_exit_2(bad_place, case):
    arguments, words = BAD[case]
    before = {one.name: one.stat().st_mtime_ns for one in bad_place.iterdir()}
    done = run("ride", *arguments, cwd=bad_place)
    assert done.returncode == 2, (done.returncode, done.stderr)
    assert words in done.stderr
    assert "Traceback" not in done.stderr
    assert done.stdout == "" or "Setup:" in done.stdout
    assert {one.name: one.stat().st_mtime_ns for one in bad_place.iterdir()} == before


def test_a_setup_with_two_typos_names_both(bad_place):
    text = (bad_place / "setup.toml").read_text()
    broken = text.replace("capacity_ah", "capacty_ah", 1).replace("[bms]", "[bms]\nfoo = 1", 1)
    (bad_place / "broken.toml").write_text(broken)
    done = run("ride", "left.csv", "--setup", "broken.toml", cwd=bad_place)
    assert done.returncode == 2
    assert "capacity_ah" in done.stderr
    assert "foo" in done.stderr
    assert done.stderr.count("broken.toml, line") >= 2


def test_a_fault_of_ours_is_70_with_how_to_see_more(tmp_path):
    code = (
        "from hillproof import cli, jobs, demo\n"
        "def fail(*a, **k): raise RuntimeError('wires crossed')\n"
        "demo.run_demo = fail\n"
        "cli.main(['demo'])"
    )
    env = {**os.environ, "PYTHONPATH": str(TOP), "HILLPROOF_TRACEBACK": ""}
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, cwd=tmp_path, env=env
    )
    assert done.returncode == 70
    assert "wires crossed" in done.stderr
    assert "HILLPROOF_TRACEBACK=1" in done.stderr
    assert "Traceback" not in done.stderr


def test_usage_errors_are_2(tmp_path):
    assert run("ride", cwd=tmp_path).returncode == 2
    assert run("ride", "--no-such", cwd=tmp_path).returncode == 2
    assert run("nonsense", cwd=tmp_path).returncode == 2


def test_setup_new_replaces_nothing_and_is_accepted_by_check(tmp_path):
    assert run("setup", "new", "s.toml", cwd=tmp_path).returncode == 0
    again = run("setup", "new", "s.toml", cwd=tmp_path)
    assert again.returncode == 2
    assert "replaces none" in again.stderr
    assert run("setup", "check", "s.toml", cwd=tmp_path).returncode in (0, 2)


def test_look_saves_a_map_that_reads_the_same(place):
    first = run("look", "left=left.csv", "--write-map", "m.toml", "--json", "-", cwd=place)
    assert first.returncode == 0, first.stderr
    again = run("look", "left=left.csv", "--map", "m.toml", "--json", "-", cwd=place)
    guessed, mapped = (json.loads(one.stdout)["sources"][0]["channels"] for one in (first, again))
    for one, two in zip(guessed, mapped, strict=True):
        assert [one[key] for key in ("channel", "unit", "sign")] == [
            two[key] for key in ("channel", "unit", "sign")
        ]
        assert two["sure"] >= 0.95


def test_look_takes_a_table_about_anything(tmp_path):
    (tmp_path / "cheese.csv").write_text('name,price\n"Brie, old", 3.50\nFeta,2\n' * 8)
    done = run("look", "cheese.csv", "--table", "t.csv", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    lines = (tmp_path / "t.csv").read_bytes().split(b"\r\n")
    assert lines[0] == b"name,price"
    assert lines[1] == b'"Brie, old", 3.50'


def test_demo_twice_replaces_nothing(tmp_path):
    assert run("demo", "--quiet", cwd=tmp_path).returncode == 0
    first = (tmp_path / "hillproof-demo" / "report.html").read_bytes()
    assert run("demo", "--quiet", cwd=tmp_path).returncode == 0
    assert (tmp_path / "hillproof-demo-2" / "report.html").read_bytes() == first
    assert run("demo", "hillproof-demo", cwd=tmp_path).returncode == 2


def test_the_book_from_the_command_line(place, tmp_path):
    added = run("book", "add", *logs(place), "--book", "b", cwd=place)
    assert added.returncode == 0, added.stderr
    assert "is kept already" in run("book", "add", *logs(place), "--book", "b", cwd=place).stdout
    listed = json.loads(run("book", "list", "--json", "-", "--book", "b", cwd=place).stdout)
    name = listed["rides"][0]["ride"]
    assert run("book", "note", name[:16], "checked", "--book", "b", cwd=place).returncode == 0
    assert run("book", "check", "--book", "b", cwd=place).returncode == 0
    told = json.loads(run("ageing", "--json", "-", "--book", "b", cwd=place).stdout)
    assert told["schema"] == "hillproof.ageing/1"
    assert told["rides"] == 1
    assert run("book", "remove", name, "--book", "b", cwd=place).returncode == 0
    empty = run("ageing", "--book", "b", cwd=place)
    assert empty.returncode == 2
    assert "no ride" in empty.stderr


def test_a_ride_file_is_ridden_again_with_its_own_setup(place, tmp_path):
    run("ride", *logs(place), "--table", "again.parquet", "--quiet", cwd=place)
    (tmp_path / "again.parquet").write_bytes((place / "again.parquet").read_bytes())
    told = json.loads(run("ride", "again.parquet", "--json", "-", cwd=tmp_path).stdout)
    assert told["ride"]["start"].startswith("2031-11-15T09:12:40")
    assert told["balance"]["shares"]["left"]["drive_pct"]["value"] > 53
    hill = ("--grade", "6", "--length", "300", "--charge", "60")
    ahead = json.loads(run("predict", *hill, "again.parquet", "--json", "-", cwd=tmp_path).stdout)
    assert {one["limit"]: one["set"] for one in ahead["limits"]}["bms.discharge_rating_a"] == 40
    assert "again" in {one["about"]: one["text"] for one in ahead["notes"]}["setup"]


def test_compare_and_predict_and_limits_answer(place, tmp_path):
    run("ride", *logs(place), "--table", "one.parquet", "--quiet", cwd=place)
    ride = str(place / "one.parquet")
    for arguments, schema in (
        (["limits", ride], "hillproof.limits/1"),
        (["compare", ride, ride], "hillproof.compare/1"),
        (["predict", "--grade", "6", "--length", "300", "--charge", "60", ride,
          "--setup", str(place / "setup.toml")], "hillproof.predict/1"),
    ):  # fmt: skip
        done = run(*arguments, "--json", "-", cwd=tmp_path)
        assert done.returncode == 0, done.stderr
        assert json.loads(done.stdout)["schema"] == schema


def test_a_hill_out_of_all_range_is_refused_in_one_message(place):
    done = run("predict", "--grade", "95", "--length", "300", cwd=place)
    assert done.returncode == 2
    assert "--grade 95" in done.stderr
    assert "--charge is missing" in done.stderr


def test_answers_that_end_early_write_nothing(tmp_path):
    done = run("setup", "new", "fresh.toml", "--ask", cwd=tmp_path, input="cart\n")
    assert done.returncode == 2
    assert "the answers ended" in done.stderr
    assert not (tmp_path / "fresh.toml").exists()
