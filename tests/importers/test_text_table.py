"""Any delimited text: the rules of RFC 4180, every mix of marks and encodings, and mended rows."""

import io
import itertools

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from importers.look import raw_table_csv
from importers.raw_table import RawTable
from importers.text_bytes import NotText, as_text
from importers.text_table import NoTable, find_text_layout, read_text_table

N = 200
TIME_S = np.arange(N) * 0.1
VOLTS = 50 + np.sin(TIME_S) * 3
AMPS = 1234.5 * np.cos(TIME_S / 3)


def read(data: bytes) -> RawTable:
    return read_text_table(as_text(data))


def cells(tmp_path, text: str) -> str:
    file = tmp_path / "a.csv"
    file.write_bytes(text.encode())
    return raw_table_csv(str(file))


@pytest.mark.parametrize(
    ("text", "want"),
    [
        # RFC 4180 (2005) section 2, rules 1 to 7
        ("aaa,bbb,ccc\r\nzzz,yyy,xxx\r\n", "aaa,bbb,ccc\r\nzzz,yyy,xxx\r\n"),
        ("aaa,bbb,ccc\r\nzzz,yyy,xxx", "aaa,bbb,ccc\r\nzzz,yyy,xxx\r\n"),
        ('"aaa","bbb","ccc"\r\nzzz,yyy,xxx\r\n', "aaa,bbb,ccc\r\nzzz,yyy,xxx\r\n"),
        ('a,b,c\r\n1,"b\r\nb",2\r\n', 'a,b,c\r\n1,"b\r\nb",2\r\n'),
        ('a,b,c\r\n1,"b""b",2\r\n', 'a,b,c\r\n1,"b""b",2\r\n'),
        ('a,b,c\r\n1,"b,b",2\r\n', 'a,b,c\r\n1,"b,b",2\r\n'),
        # digits and spaces as they stand
        ("a;b\n001; 2.50 \n", "a,b\r\n001, 2.50 \r\n"),
    ],
)
def test_rfc_4180(tmp_path, text: str, want: str) -> None:
    assert cells(tmp_path, text) == want


def written(
    mark: str, decimal: str, thousands: str, *, quoted: bool, units: bool, trailing: bool
) -> str:
    def cell(value: float) -> str:
        text = f"{value:,.2f}" if thousands else f"{value:.2f}"
        text = text.replace(",", "\0").replace(".", decimal).replace("\0", thousands)
        return f'"{text}"' if quoted or mark in text else text

    end = mark if trailing else ""
    head = [mark.join(["time", "Spannung", "Strom", "Text"]), mark.join(["s", "V", "A", ""])]
    if not units:
        head = [mark.join(["time [s]", "Spannung [V]", "Strom [A]", "Text"]) + end]
    rows = [
        mark.join([cell(a), cell(b), cell(c), "ok"]) + end
        for a, b, c in zip(TIME_S, VOLTS, AMPS, strict=True)
    ]
    return "\n".join([*head, *rows, ""])


PREAMBLES = ("", "# made by a logger\n# serial 12\n", "Logger;x\nStart: 2031-05-04 09:12\n\n")
MIXES = [
    one
    for one in itertools.product(
        ",;\t|", ".,", ("", ",", "'", ".", " "), PREAMBLES,
        ("utf-8", "utf-8-sig", "utf-16", "utf-16-be", "cp1252"), ("\n", "\r\n", "\r"),
        (False, True), (False, True),
    )
    if one[1] != one[2] and (one[2] != "." or one[1] == ",") and (one[2] != "," or one[1] == ".")
][::23]  # fmt: skip


@pytest.mark.parametrize(
    ("mark", "decimal", "thousands", "preamble", "encoding", "newline", "quoted", "units"), MIXES
)
def test_every_mix_of_marks_and_encodings(
    mark, decimal, thousands, preamble, encoding, newline, quoted, units
) -> None:
    quoted = quoted or mark in (decimal, thousands)
    text = written(
        mark, decimal, thousands, quoted=quoted, units=units, trailing=not units and quoted
    )
    raw = read((preamble + text).replace("\n", newline).encode(encoding))
    assert raw.rows == N
    volts, amps, words = raw.columns[1], raw.columns[2], raw.columns[3]
    assert np.allclose(volts.numbers, VOLTS, atol=0.0051)
    assert np.allclose(amps.numbers, AMPS, atol=0.0051)
    assert words.texts is not None
    if units:
        assert volts.unit == "V"


def log(rows: list[str], head: str = "time [s],a [V],b [A],c [A]") -> bytes:
    return "\n".join([head, *rows, ""]).encode()


def even(count: int = 50) -> list[str]:
    return [f"{k * 0.1:.1f},{50 + k % 7},{k % 5},{k % 3}" for k in range(count)]


def test_a_header_repeated_further_down_is_a_restart() -> None:
    raw = read(log([*even(20), "time [s],a [V],b [A],c [A]", *even(30)]))
    assert raw.rows == 50
    assert raw.restarts == (20,)
    assert any("started anew" in one for one in raw.problems)


def test_short_long_and_cut_rows_are_mended_counted_and_said() -> None:
    rows = even(50)
    rows[10] = "1.0,53"
    rows[20] = "2.0,1,2,3,4,5"
    rows[30] += ",,"
    data = log(rows)[:-4]
    raw = read(data)
    assert raw.rows_dropped == 2
    assert raw.rows == 48
    text = " ".join(raw.problems)
    for says in ("too few cells", "too many cells", "empty cells too many", "cut short"):
        assert says in text


def test_comments_between_rows_are_left_out_and_said() -> None:
    rows = even(50)
    rows.insert(25, "# card changed")
    raw = read(log(rows))
    assert raw.rows == 50
    assert any("comment" in one for one in raw.problems)


def test_nul_bytes_are_taken_out_and_said() -> None:
    data = log(even(50))
    raw = read(data[:200] + b"\x00" * 512 + data[200:])
    assert raw.rows == 50
    assert any("NUL" in one for one in raw.problems)


@pytest.mark.parametrize(
    ("decimal", "mark"),
    [(".", "'"), (".", "’"), (",", "."), (".", ","), (",", " "), (",", "\u202f")],
)
def test_thousands_that_only_come_far_down_the_file(decimal: str, mark: str) -> None:
    """A ride begins and ends at a standstill: no thousand where the dialect is looked at."""
    rpm = np.concatenate([np.zeros(400), np.arange(0, 4000, 7), np.zeros(400)]).astype(int)
    volts = 50 + np.arange(rpm.size) % 300 / 100
    lines = ["Zeit;Drehzahl;Spannung"] + [
        f"{at};{turns:,};{v:.2f}".replace(".", "\0").replace(",", mark).replace("\0", decimal)
        for at, (turns, v) in enumerate(zip(rpm, volts, strict=True))
    ]
    table = read("\n".join(lines).encode())
    assert np.array_equal(table.columns[1].numbers, rpm)
    assert np.allclose(table.columns[2].numbers, volts)


def test_a_unit_behind_every_number_is_the_columns_unit() -> None:
    lines = ["t,U,I"] + [f"{at} s,{50 + at % 7} V,{at % 30} mA" for at in range(300)]
    table = read("\n".join(lines).encode())
    assert [one.unit for one in table.columns] == ["s", "V", "mA"]
    mixed = ["t,I"] + [f"{at},{at % 30 + 1} {'A' if at % 2 else 'mA'}" for at in range(300)]
    assert read("\n".join(mixed).encode()).columns[1].unit == ""


@pytest.mark.parametrize("line", [0, 1, 2, 150, 299, 300])
@pytest.mark.parametrize("cell", [0, 1, 2])
@pytest.mark.parametrize("behind", [False, True])
def test_a_quote_mark_that_closes_no_cell_is_taken_out(line: int, cell: int, behind: bool) -> None:
    """By RFC 4180 all that follows it would be one cell."""
    rows = [["t", "U", "I"]] + [[str(at), f"{50 + at % 7}", f"{at % 30}"] for at in range(300)]
    rows[line][cell] = f'{rows[line][cell]}"' if behind else f'"{rows[line][cell]}'
    table = read("\n".join(",".join(one) for one in rows).encode())
    assert [one.header for one in table.columns] == ["t", "U", "I"]
    assert np.array_equal(table.columns[0].numbers, np.arange(300))
    assert np.array_equal(table.columns[2].numbers, np.arange(300) % 30)
    assert table.problems == (
        f"1 lines have a quote mark that closes no cell: taken out (line {line + 1})",
    )


def test_a_cell_of_several_lines_keeps_its_quote_marks() -> None:
    rows = [f"{at},{50 + at % 7},fine" for at in range(300)]
    rows[100] = '100,52,"stopped\nfor a look, at the ""belt""\nthen on"'
    rows[200] = '"200",52,"once\nmore"'
    table = read(("t,U,note\n" + "\n".join(rows)).encode())
    assert table.rows == 300
    assert table.columns[2].texts[100].as_py() == 'stopped\nfor a look, at the "belt"\nthen on'
    assert table.problems == ()


def test_no_two_columns_have_one_name() -> None:
    """A map file tells columns by their headers (the contract), so these must differ."""
    lines = ["t;Strom;Strom;U;Strom"] + [f"{at};1;2;50;3" for at in range(40)]
    table = read("\n".join(lines).encode())
    assert [one.header for one in table.columns] == ["t", "Strom", "Strom (2)", "U", "Strom (3)"]
    assert any("3 columns are called 'Strom'" in one for one in table.problems)


def test_runs_of_spaces() -> None:
    rows = ["   time_s    voltage_v   current_a"]
    rows += [f"{k * 0.1:8.1f} {50 + k % 7:9.2f}   {k % 5:7.3f}" for k in range(60)]
    raw = read("\n".join(rows).encode())
    assert [one.header for one in raw.columns] == ["time_s", "voltage_v", "current_a"]
    assert raw.rows == 60


def test_dates_with_a_space_in_them_do_not_make_blanks_the_mark() -> None:
    rows = ["time\tvolts [V]\tamps [A]"]
    rows += [f"14.05.2031 09:12:{k % 60:02d}.000\t{50 + k % 7}\t{k % 5}" for k in range(60)]
    assert [one.header for one in read("\n".join(rows).encode()).columns] == [
        "time", "volts [V]", "amps [A]",
    ]  # fmt: skip


@pytest.mark.parametrize(
    "data",
    [
        b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 8,
        bytes(range(256)) * 40,
        b"\x00" * 4000,
        b"\n\n\n",
    ],
)
def test_what_is_no_table(data: bytes) -> None:
    with pytest.raises((NoTable, NotText)):
        read(data)


def test_a_claim_of_very_many_columns_stays_small() -> None:
    with pytest.raises(NoTable):
        read(b"," * 60_000 + b"\n" + b"," * 60_000 + b"\n")


def test_the_dialect_agrees_with_a_general_detector() -> None:
    clevercsv = pytest.importorskip("clevercsv")
    for mark, decimal in ((",", "."), (";", ","), ("\t", "."), ("|", "."), (";", ".")):
        text = written(mark, decimal, "", quoted=False, units=False, trailing=False)
        theirs = clevercsv.Sniffer().sniff(text[:4000], delimiters=",;\t|")
        assert find_text_layout(as_text(text.encode())).dialect.delimiter == theirs.delimiter


def _bytes() -> st.SearchStrategy[bytes]:
    line = st.text("0123456789.,;\t|:- eE\"'#aVm[]%\x00é", max_size=30)
    return st.one_of(
        st.binary(max_size=300),
        st.lists(line, max_size=30).map(lambda one: "\n".join(one).encode()),
    )


@settings(max_examples=300, deadline=None)
@given(_bytes())
@example(b"a,b\n1,2\n" * 3 + b'"')
@example(b"\xff\xfea\x00")
def test_whatever_the_bytes_a_table_or_no_table(data: bytes) -> None:
    try:
        raw = read(data)
    except (NoTable, NotText):
        return
    for column in raw.columns:
        size = column.numbers.size if column.numbers is not None else len(column.texts)
        assert size == raw.rows


@settings(max_examples=100, deadline=None)
@given(st.lists(st.lists(st.floats(-1e6, 1e6), min_size=3, max_size=3), min_size=15, max_size=40))
def test_numbers_come_back_to_the_bit(rows: list[list[float]]) -> None:
    out = io.StringIO()
    out.write("time [s],a [V],b [A]\n")
    out.writelines(",".join(map(repr, row)) + "\n" for row in rows)
    raw = read(out.getvalue().encode())
    got = np.column_stack([one.numbers for one in raw.columns])
    assert np.array_equal(got, np.asarray(rows))
