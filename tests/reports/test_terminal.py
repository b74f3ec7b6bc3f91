"""What the commands print: whole sentences, plain when piped, coloured on a terminal."""

import io

import pytest
from made.ride_results import bare_result, made_result
from rich.console import Console

from importers.ride import ChannelReading, Source
from reports.terminal import print_look, print_ride


def printed(call, what, **options):
    text = io.StringIO()
    call(what, Console(file=text, width=100, **options))
    return text.getvalue()


@pytest.mark.parametrize("result", [made_result(), made_result(("motor",)), bare_result()])
def test_piped_it_is_plain_text_in_whole_sentences(result):
    text = io.StringIO()
    print_ride(result, Console(file=text, width=80, soft_wrap=True))
    assert "\x1b" not in text.getvalue()
    for one in result.findings[:1]:
        assert one.severity.value.upper() in text.getvalue()
    if result.findings:
        assert (
            "Set each drive's battery limit to 17.5 A or less: 35 A together and 1 A for lights."
            in (text.getvalue())
        )


def test_on_a_terminal_it_is_coloured():
    assert "\x1b[" in printed(print_ride, made_result(), force_terminal=True)


def test_look_tells_what_was_read_and_what_to_type():
    text = printed(print_look, made_result().ride.sources)
    for part in (
        "ride.csv: whole ride",
        "left.battery_current_a",
        "turned",
        "88 %",
        "not read",
        "! 3 rows were cut short and left out.",
        "In doubt in ride.csv: mot left rpm and mot right rpm.",
        "--write-map FILE",
    ):
        assert part in text
    assert "/home/" not in text


def test_a_hostile_header_is_not_markup():
    from dataclasses import replace

    from importers.ride import ChannelReading

    source = made_result().ride.sources[0]
    odd = ChannelReading("[bold red]x[/bold]", None, "", 1, None, 0.0)
    text = printed(print_look, (replace(source, channels=(odd,)),))
    assert "[bold red]x[/bold]" in text


def test_a_file_in_doubt_comes_with_the_line_to_type():
    from dataclasses import replace

    source = replace(made_result().ride.sources[0], role=None)
    text = printed(print_look, (source,))
    assert "In doubt what ride.csv holds: type NAME=ride.csv" in " ".join(text.split())


def test_piped_each_column_of_a_file_stays_on_one_line():
    from dataclasses import replace

    source = made_result().ride.sources[0]
    long = replace(source.channels[0], header="h" * 90, why="w" * 90)
    text = printed(print_look, (replace(source, channels=(long,)),))
    assert any("h" * 90 in line and "w" * 90 in line for line in text.splitlines())


def test_on_a_narrow_terminal_no_word_is_broken():
    out = io.StringIO()
    print_look(made_result().ride.sources, Console(file=out, width=50, force_terminal=True))
    assert "left.battery_current_a" in out.getvalue()


def test_look_says_how_a_file_is_written_and_doubts_file_by_file():
    doubt = ChannelReading("rpm", "left.motor_rpm", "rpm", 1, 10.0, 0.8)
    told = ChannelReading("A", "left.battery_current_a", "A", 1, 10.0, 0.98)
    first = Source("a.csv", "left", 10, 0, 10.0, 0.0, 0.0, (told, doubt), form="commas")
    second = Source(
        "b.csv", "right", 10, 0, 10.0, 2.0, 0.3, (told, doubt), form="semicolons, decimal comma"
    )
    text = printed(print_look, (first, second))
    assert "commas" not in text.replace("decimal comma", "")
    assert "10.0 Hz, semicolons, decimal comma, clock 2.0 s ahead" in text
    assert "running" not in text  # 0.3 ppm would be shown as none
    assert "In doubt in a.csv: rpm.\nIn doubt in b.csv: rpm.\n" in text
