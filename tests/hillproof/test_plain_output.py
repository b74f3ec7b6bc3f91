"""Output in an encoding that lacks our signs: plain letters instead of a fault."""

import io
import sys

import pytest

from hillproof.plain_output import PLAIN, speak_plainly


@pytest.mark.parametrize(
    ("encoding", "written"),
    # ISO/IEC 8859-1 has the degree, but neither arrow nor true minus nor Greek letter.
    [("ascii", "-3 deg C -> 79 mOhm, ?"), ("latin-1", "-3 \u00b0C -> 79 mOhm, ?")],
)
def test_what_an_encoding_lacks_is_written_in_letters(monkeypatch, encoding, written):
    raw = io.BytesIO()
    monkeypatch.setattr(sys, "stdout", io.TextIOWrapper(raw, encoding=encoding))
    monkeypatch.setattr(sys, "stderr", io.TextIOWrapper(io.BytesIO(), encoding=encoding))
    speak_plainly()
    sys.stdout.write("\u22123 \u00b0C \u2192 79 m\u03a9, \u4e2d")
    sys.stdout.flush()
    assert raw.getvalue().decode(encoding) == written


def test_utf_8_is_left_alone_and_replacements_are_plain(monkeypatch):
    raw = io.BytesIO()
    monkeypatch.setattr(sys, "stdout", io.TextIOWrapper(raw, encoding="utf-8"))
    speak_plainly()
    sys.stdout.write("79 m\u03a9")
    sys.stdout.flush()
    assert raw.getvalue().decode() == "79 m\u03a9"
    assert all(text.isascii() for text in PLAIN.values())
