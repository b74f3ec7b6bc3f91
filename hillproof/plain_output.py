"""Terminals and pipes that do not speak UTF-8: signs they lack are written in plain letters."""

from __future__ import annotations

import codecs
import io
import sys

PLAIN = {
    "−": "-", "→": "->", "×": "x", "·": "|", "°": "deg ", "Ω": "Ohm", "µ": "u", "±": "+/-",
    "…": "...", "\u2013": "-", "\u2018": "'", "\u2019": "'", "\u201c": '"', "\u201d": '"',
    "²": "2", "■": "#", "◆": "*", "○": "o", "≥": ">=", "≤": "<=", "\u00a0": " ", "\u202f": " ",
}  # fmt: skip
"""Signs of our own texts, as letters that every encoding has; all else becomes a question mark."""
HANDLER = "hillproof.plain"


def _in_plain_letters(fault: UnicodeError) -> tuple[str, int]:
    assert isinstance(fault, UnicodeEncodeError)
    lost = fault.object[fault.start : fault.end]
    return "".join(PLAIN.get(sign, "?") for sign in lost), fault.end


def speak_plainly() -> None:
    """Let standard output and error replace what their encoding lacks instead of failing."""
    codecs.register_error(HANDLER, _in_plain_letters)
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper) and "utf" not in stream.encoding.lower():
            stream.reconfigure(errors=HANDLER)
