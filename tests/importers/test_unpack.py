"""Packed logs, and files that are no logs: the bytes, or one plain message."""

import gzip
import lzma
import zipfile
from pathlib import Path

import pytest

from importers.errors import LogError
from importers.unpack import read_bytes

TEXT = b"time [s],voltage [V]\n" + b"0.1,50\n" * 500


def packed(tmp_path: Path, how: str) -> Path:
    file = tmp_path / f"a.csv.{how}"
    if how == "gz":
        file.write_bytes(gzip.compress(TEXT))
    elif how == "xz":
        file.write_bytes(lzma.compress(TEXT))
    elif how == "zip":
        with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
            archive.writestr("a.csv", TEXT)
    else:
        file.write_bytes(TEXT)
    return file


@pytest.mark.parametrize("how", ["csv", "gz", "xz", "zip"])
def test_packed_or_not_the_same_bytes(tmp_path: Path, how: str) -> None:
    assert bytes(read_bytes(str(packed(tmp_path, how)))) == TEXT


def test_an_archive_cut_short_gives_what_is_there(tmp_path: Path) -> None:
    file = tmp_path / "a.gz"
    file.write_bytes(gzip.compress(TEXT * 400, 1)[:-2000])
    assert TEXT.startswith(bytes(read_bytes(str(file))[:200]))


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"", "empty"),
        (b"\x89PNG\r\n\x1a\n" + b"\x00" * 100, "picture"),
        (b"%PDF-1.7\n\x00", "PDF"),
        (b"PK\x03\x04 nothing", "archive"),
        (b"\x1f\x8b nothing", "archive"),
    ],
)
def test_what_is_no_log_is_said_plainly(tmp_path: Path, data: bytes, says: str) -> None:
    file = tmp_path / "a.csv"
    file.write_bytes(data)
    with pytest.raises(LogError, match=says) as caught:
        read_bytes(str(file))
    assert caught.value.where == str(file)
    assert caught.value.remedy


def test_a_missing_file_and_a_folder(tmp_path: Path) -> None:
    with pytest.raises(LogError, match="no such file"):
        read_bytes(str(tmp_path / "none.csv"))
    with pytest.raises(LogError, match="folder"):
        read_bytes(str(tmp_path))


def test_a_bomb_is_refused_before_it_grows(tmp_path: Path) -> None:
    file = tmp_path / "a.gz"
    with gzip.open(file, "wb", 9) as out:
        for _ in range(120):
            out.write(b"\x00" * (1 << 20))
    with pytest.raises(LogError, match="unpacks to more than"):
        read_bytes(str(file))
