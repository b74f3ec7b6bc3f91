"""Arguments checked before any work: what is refused, and that nothing is made meanwhile."""

import pytest

from hillproof.log_args import (
    check_facts,
    check_outputs,
    choose_setup,
    log_path,
    parse_start,
    refuse_existing,
)
from importers.errors import UsageError


def test_named_log_is_split_at_the_first_equals_sign(tmp_path):
    assert log_path("left=a=b.csv") == "a=b.csv"
    assert log_path("a.csv") == "a.csv"


def test_a_file_with_an_equals_sign_in_its_name_is_a_path(tmp_path):
    odd = tmp_path / "speed=fast.csv"
    odd.write_text("x")
    assert log_path(str(odd)) == str(odd)


def test_setup_beside_the_first_log_wins_over_the_working_directory(tmp_path, monkeypatch):
    (tmp_path / "logs").mkdir()
    (tmp_path / "setup.toml").write_text("")
    monkeypatch.chdir(tmp_path)
    assert choose_setup(None, ["left=logs/a.csv"]).path == "setup.toml"
    (tmp_path / "logs" / "setup.toml").write_text("")
    choice = choose_setup(None, ["left=logs/a.csv"])
    assert (choice.path, choice.found) == ("logs/setup.toml", True)
    assert "logs/setup.toml" in choice.sentence
    assert choose_setup("mine.toml", ["logs/a.csv"]).sentence == ""


def test_no_setup_names_the_places_looked_at(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    with pytest.raises(UsageError, match=r"setup\.toml") as caught:
        choose_setup(None, ["logs/a.csv"])
    assert "logs/setup.toml" in str(caught.value)
    assert "--setup" in caught.value.remedy
    assert choose_setup(None, ["logs/a.csv"], required=False).path is None


def test_every_output_that_cannot_be_written_is_named_at_once(tmp_path):
    log = tmp_path / "a.csv"
    log.write_text("x")
    with pytest.raises(UsageError) as caught:
        check_outputs(
            {
                "--report": str(tmp_path / "none" / "r.html"),
                "--json": str(log),
                "--events": str(tmp_path),
                "--table": str(tmp_path / "ok.csv"),
            },
            [str(log)],
        )
    text = str(caught.value)
    assert text.count("\n") == 2
    assert "does not exist" in text
    assert "one of the inputs" in text
    assert "is a folder" in text
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.csv"]


def test_an_input_is_found_behind_a_link(tmp_path):
    log, link = tmp_path / "a.csv", tmp_path / "b.csv"
    log.write_text("x")
    link.symlink_to(log)
    with pytest.raises(UsageError, match="one of the inputs"):
        check_outputs({"--events": str(link)}, [str(log)])


def test_two_outputs_on_one_file_are_refused(tmp_path):
    same = str(tmp_path / "x")
    with pytest.raises(UsageError, match="--json"):
        check_outputs({"--json": same, "--events": same}, [])
    with pytest.raises(UsageError, match="output of"):
        check_outputs({"--json": "-", "--events": "-"}, [])


def test_commands_that_replace_nothing_say_so(tmp_path):
    refuse_existing("-")
    refuse_existing(str(tmp_path / "new"))
    with pytest.raises(UsageError, match="replaces none"):
        refuse_existing(str(tmp_path))


def test_start_keeps_its_offset_and_takes_this_machines_zone_without():
    # RFC 3339 section 5.8: 1996-12-19T16:39:57-08:00 is 851042397 s since 1970.
    assert parse_start("1996-12-19T16:39:57-08:00").timestamp() == 851042397
    assert parse_start("2031-05-04T09:12").tzinfo is not None
    assert parse_start(None) is None


@pytest.mark.parametrize("text", ["yesterday", "2031-05-04", "09:12", "2031-13-04T09:12"])
def test_a_start_that_is_no_instant_is_refused_with_an_example(text):
    with pytest.raises(UsageError, match="2031-05-04T09:12"):
        parse_start(text)


@pytest.mark.parametrize(("mass", "temp"), [(-5.0, None), (float("nan"), None), (None, 900.0)])
def test_facts_not_of_this_world_are_refused(mass, temp):
    with pytest.raises(UsageError, match="not between"):
        check_facts(mass, temp)
    check_facts(180.0, -5.0)
