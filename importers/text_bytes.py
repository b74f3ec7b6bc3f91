"""From bytes to UTF-8 with one kind of line end: encoding found out, NULs counted and removed."""

from __future__ import annotations

import codecs
import mmap
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from importers.stray_quotes import without_stray_quotes

SAMPLE = 1 << 16
"""Bytes looked at to tell an encoding. Our choice."""
MOST_CONTROL = 0.02
"""Share of control characters above which a file is no text. Our choice: text has none but
tabs and line ends; a logger's torn block may bring a few."""
BROKEN_UTF8 = 0.05
"""Invalid bytes per byte beyond ASCII up to which a file still counts as (damaged) UTF-8. Our
choice."""

Data = bytes | mmap.mmap
PIECE = 1 << 20
"""Bytes looked at together. Our choice: they stay in a processor's cache."""


@dataclass(frozen=True, slots=True)
class Text:
    """A file's text as UTF-8 bytes, lines ended by LF or CR LF."""

    data: Data
    encoding: str
    """For people: `UTF-8`, `UTF-16`, `Windows-1252`."""
    problems: tuple[str, ...] = ()


class NotText(ValueError):
    """The bytes are no text."""


def as_text(data: Data) -> Text:
    """What the bytes say, whatever encoding they are in.

    Raises `NotText` for bytes that no text encoding explains.
    """
    problems: list[str] = []
    data, encoding = _decoded(data, problems)
    if data.find(b"\x00") >= 0:
        raw = bytes(data)
        count = raw.count(b"\x00")
        problems.append(f"{count} NUL bytes were taken out (a block the logger did not finish)")
        data = raw.replace(b"\x00", b"")
    _refuse_binary(data)
    if data.find(b"\r") >= 0 and data.find(b"\n") < 0:
        data = bytes(data).replace(b"\r", b"\n")
    if data.find(b'"') >= 0:
        data = _closed(bytes(data), problems)
    return Text(data, encoding, tuple(problems))


def _closed(data: bytes, problems: list[str]) -> bytes:
    mended, lines = without_stray_quotes(data)
    if lines:
        shown = ", ".join(str(one) for one in lines[:3]) + (" …" if len(lines) > 3 else "")
        problems.append(
            f"{len(lines)} lines have a quote mark that closes no cell: taken out (line {shown})"
        )
    return mended


def _decoded(data: Data, problems: list[str]) -> tuple[Data, str]:
    """The bytes as UTF-8 without a byte-order mark, and the name of what they were."""
    head = bytes(data[:SAMPLE])
    if head.startswith(codecs.BOM_UTF8):
        found = _utf8(data[3:], problems)
        return (found[0], "UTF-8 with mark") if found[1] == "UTF-8" else found
    wide = _utf16(head)
    if wide:
        text = bytes(data).decode(wide, errors="replace").removeprefix("\ufeff")
        if "\ufffd" in text:
            problems.append(
                f"{text.count(chr(0xFFFD))} characters could not be read in {wide.upper()}"
            )
        return text.encode("utf-8", errors="replace"), "UTF-16"
    return _utf8(data, problems)


def _utf16(head: bytes) -> str | None:
    """Which UTF-16 it is, by its mark, or by NULs in every other byte."""
    if head.startswith(codecs.BOM_UTF16_LE) and not head.startswith(codecs.BOM_UTF32_LE):
        return "utf-16-le"
    if head.startswith(codecs.BOM_UTF16_BE):
        return "utf-16-be"
    if len(head) < 8:
        return None
    values = np.frombuffer(head[: len(head) & ~1], np.uint8)
    even, odd = np.mean(values[::2] == 0), np.mean(values[1::2] == 0)
    # Our choice: text of numbers has a NUL in nearly every other byte and none in between.
    if odd > 0.8 and even < 0.05:
        return "utf-16-le"
    if even > 0.8 and odd < 0.05:
        return "utf-16-be"
    return None


def is_ascii(data: Data) -> bool:
    """Whether all bytes are below 128."""
    return data.isascii() if isinstance(data, bytes) else all(map(bytes.isascii, _pieces(data)))


def _pieces(data: Data) -> Iterator[bytes]:
    """The bytes in pieces that stay in the processor's cache while they are looked at."""
    return (data[at : at + PIECE] for at in range(0, len(data), PIECE))


def _is_utf8(data: Data) -> bool:
    """Whether all bytes are UTF-8, most pieces of a log being ASCII."""
    decoder = codecs.getincrementaldecoder("utf-8")()
    try:
        for piece in _pieces(data):
            if not piece.isascii() or decoder.getstate()[0]:
                decoder.decode(piece)
        decoder.decode(b"", final=True)
    except UnicodeDecodeError:
        return False
    return True


def _utf8(data: Data, problems: list[str]) -> tuple[Data, str]:
    if is_ascii(data):
        return data, "ASCII"
    return (data, "UTF-8") if _is_utf8(data) else _eight_bit(bytes(data), problems)


def _eight_bit(raw: bytes, problems: list[str]) -> tuple[bytes, str]:
    """Windows-1252 or Latin-1; or UTF-8 with a few damaged bytes."""
    mended = raw.decode("utf-8", errors="replace")
    broken = mended.count("\ufffd")
    beyond = int((np.frombuffer(raw, np.uint8) > 127).sum())
    if broken <= BROKEN_UTF8 * beyond:
        problems.append(f"{broken} characters could not be read in UTF-8")
        return mended.encode("utf-8"), "UTF-8"
    try:
        return raw.decode("cp1252").encode("utf-8"), "Windows-1252"
    except UnicodeDecodeError:
        return raw.decode("latin-1").encode("utf-8"), "Latin-1"


def _refuse_binary(data: Data) -> None:
    head = np.frombuffer(bytes(data[:SAMPLE]), np.uint8)
    if head.size == 0:
        raise NotText
    unprintable = (head < 32) & ~np.isin(head, (9, 10, 12, 13, 26, 27))
    if float(unprintable.mean()) > MOST_CONTROL:
        raise NotText
