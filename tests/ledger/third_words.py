"""The third corpus's hands, read from `third_hands.toml`, and their words for sides."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, field
from pathlib import Path

SIDES = {
    "en": {"left": "left", "right": "right", "front": "front", "rear": "rear"},
    "en1": {"left": "L", "right": "R", "front": "F", "rear": "R"},
    "ens": {"left": "l", "right": "r", "front": "fr", "rear": "re"},
    "de": {"left": "links", "right": "rechts", "front": "vorn", "rear": "hinten"},
    "de1": {"left": "li", "right": "re", "front": "vorn", "rear": "hint"},
    "fr": {"left": "gauche", "right": "droite", "front": "avant", "rear": "arrière"},
    "es": {"left": "izq", "right": "der", "front": "delantero", "rear": "trasero"},
    "it": {"left": "sinistro", "right": "destro", "front": "anteriore", "rear": "posteriore"},
    "pt": {"left": "esquerdo", "right": "direito", "front": "dianteiro", "rear": "traseiro"},
    "nl": {"left": "links", "right": "rechts", "front": "voor", "rear": "achter"},
}


@dataclass(frozen=True)
class Hand:
    """One person's way to log."""

    who: str
    sides: str
    words: dict[str, str]
    layouts: tuple[str, ...]  # wide | sides | long
    times: tuple[str, ...]
    id_header: str = ""
    mark: str = ","
    decimal: str = "."
    encoding: str = "utf-8"
    form: tuple[str, ...] = ()  # preamble, comments, units_row, quoted, repeated, spaced, trailing
    bms: dict[str, str] = field(default_factory=dict)
    gps: dict[str, str] = field(default_factory=dict)
    junk: tuple[str, ...] = ()  # columns that are no channel: count, version, signal, lap, memory


def _hand(table: dict[str, object]) -> Hand:
    lists = {key: tuple(value) for key, value in table.items() if isinstance(value, list)}
    return Hand(**{**table, **lists})  # type: ignore[arg-type]


_FILE = Path(__file__).with_name("third_hands.toml")
HANDS = tuple(_hand(one) for one in tomllib.loads(_FILE.read_text("utf-8"))["hands"])
