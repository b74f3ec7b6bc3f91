"""Map files: what is written reads back the same, whatever the headers; every fault is named with
its line. The grammar of strings and tables is TOML 1.0's, the entries are the contract's."""

import re
import tomllib
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from importers.channel_map import MappedChannel, map_line, map_text, read_map, time_line
from importers.errors import LogError
from importers.ride import ChannelReading, Source

HEADERS = st.text(
    st.characters(blacklist_categories=("Cs",), blacklist_characters="\0"), min_size=1, max_size=30
)


def source(*channels: ChannelReading, file: str = "left.csv", role: str | None = "left") -> Source:
    return Source(file, role, 10, 0, 20.0, None, None, channels)


def mapped(folder: Path, text: str):
    path = folder / "map.toml"
    path.write_text(text, encoding="utf-8")
    return read_map(str(path))


def faults(folder: Path, text: str) -> list[LogError]:
    with pytest.raises(LogError) as caught:
        mapped(folder, text)
    return [caught.value, *caught.value.more]


def test_the_contracts_own_example_is_read(tmp_path: Path) -> None:
    found = mapped(
        tmp_path,
        '["left.csv"]\nrole = "left"\ntime = "time [s]"\n'
        'channels."Battery current [A]" = { channel = "left.battery_current_a", unit = "A", '
        'sign = 1 }\nids = { "1" = "left", "2" = "right" }\n',
    ).of("somewhere/left.csv")
    assert found is not None
    assert (found.role, found.time, dict(found.ids)) == (
        "left", "time [s]", {"1": "left", "2": "right"},
    )  # fmt: skip
    assert found.channels["Battery current [A]"] == MappedChannel("left.battery_current_a", "A", 1)


@settings(max_examples=150, deadline=None)
@given(header=HEADERS, sign=st.sampled_from([1, -1]), file=HEADERS)
def test_any_header_and_file_name_reads_back(
    header: str, sign: int, file: str, tmp_path_factory: pytest.TempPathFactory
) -> None:
    name = file.replace("/", "_").replace("\\", "_")
    readings = (
        ChannelReading("time [s]", "time_s", "s", 1, None, 0.99),
        ChannelReading(header, "left.battery_current_a", "mA", sign, 20.0, 0.7),
    )
    text = map_text([source(*readings, file=name)])
    found = mapped(tmp_path_factory.mktemp("map"), text)
    (own,) = found.files.values()
    assert own.time == "time [s]"
    assert dict(own.channels) == {header: MappedChannel("left.battery_current_a", "mA", sign)}


@settings(max_examples=150, deadline=None)
@given(header=HEADERS)
def test_the_lines_printed_beside_doubts_are_toml(header: str) -> None:
    line = map_line(header, "left.motor_rpm", "electrical rpm", -1)
    assert tomllib.loads(line)["channels"][header] == {
        "channel": "left.motor_rpm", "unit": "electrical rpm", "sign": -1,
    }  # fmt: skip
    assert tomllib.loads(time_line(header)) == {"time": header}


def test_what_is_unsure_and_what_is_not_read_stands_in_comments() -> None:
    text = map_text(
        [
            source(
                ChannelReading("speed", "left.wheel_speed_mps", "km/h", 1, 5.0, 0.55),
                ChannelReading("trip", None, "km", 1, None, 0.9),
            )
        ]
    )
    assert re.search(r"# 55\s?% sure", text)
    assert '# channels."trip" = { channel = "", unit = "km", sign = 1 }' in text
    assert list(tomllib.loads(text)["left.csv"]["channels"]) == ["speed"]


def test_a_path_as_typed_goes_before_a_name(tmp_path: Path) -> None:
    found = mapped(tmp_path, '["a/log.csv"]\nrole = "left"\n["log.csv"]\nrole = "right"\n')
    roles = {path: found.of(path) for path in ("a/log.csv", "b/log.csv", "c.csv")}
    assert [one and one.role for one in roles.values()] == ["left", "right", None]


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        ('["l.csv"]\nrole = "left"\nroll = "x"\n', 3, ["unknown key 'roll'", "'role'"]),
        ('["l.csv"]\ntime = 3\n', 2, ["'time' must be text"]),
        ('["l.csv"]\nchannels = 3\n', 2, ["'channels' must be a table"]),
        ('x = 1\n["l.csv"]\n', 1, ["'x' is no table of a file"]),
        (
            '["l.csv"]\n\nchannels."I" = { channel = "left.batery_current_a", unit = "A" }\n',
            3, ["is no channel", "'battery_current_a'"],
        ),
        (
            '["l.csv"]\nchannels."I" = { channel = "left.battery_current_a", unit = "V" }\n',
            2, ["'V' is no unit of a current", "'A'"],
        ),
        (
            '["l.csv"]\nchannels."I" = { channel = "left.battery_current_a", sign = 0 }\n',
            2, ["must be 1 or -1"],
        ),
        (
            '["l.csv"]\nchannels."I" = { channel = "left.battery_current_a", sign = true }\n',
            2, ["must be 1 or -1"],
        ),
        ('["l.csv"]\nchannels."I" = "left.battery_current_a"\n', 2, ["'I' needs a channel"]),
        (
            '["l.csv"]\nchannels."I" = { channel = "left.battery_current_a", factor = 2 }\n',
            2, ["unknown key 'factor'"],
        ),
        (  # a channel of the whole ride has no side
            '["l.csv"]\nchannels."U" = { channel = "left.pack_voltage_v", unit = "V" }\n',
            2, ["is no channel"],
        ),
    ],
)  # fmt: skip
def test_each_fault_is_named_with_its_line(
    text: str, line: int, words: list[str], tmp_path: Path
) -> None:
    (fault,) = faults(tmp_path, text)
    assert fault.where.endswith(f"map.toml, line {line}")
    assert all(one in f"{fault.what} {fault.remedy}" for one in words)


def test_all_faults_of_a_map_come_at_once(tmp_path: Path) -> None:
    text = '["l.csv"]\nroll = "x"\ntime = 3\nchannels."I" = { channel = "nothing" }\n'
    assert len(faults(tmp_path, text)) == 3


@pytest.mark.parametrize("bad", [b"\xff\xfe", b'["l.csv"\n', b"[a]\n[a]\n"])
def test_what_is_no_toml_is_one_plain_message(bad: bytes, tmp_path: Path) -> None:
    path = tmp_path / "map.toml"
    path.write_bytes(bad)
    with pytest.raises(LogError):
        read_map(str(path))


def test_a_byte_order_mark_is_no_fault(tmp_path: Path) -> None:
    path = tmp_path / "map.toml"
    path.write_bytes(b'\xef\xbb\xbf["l.csv"]\nrole = "left"\n')
    assert read_map(str(path)).of("l.csv").role == "left"
