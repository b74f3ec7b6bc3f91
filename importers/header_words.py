"""One header, read as words: what is measured, of what, on which side, in which unit."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from functools import lru_cache

from importers.units import Unit, units_of
from importers.words import FILLERS, ideas_of, phrases_in, plain, side_apart, side_of, tokens_of

_BRACKETS = re.compile(r"[\[({<]([^\[\](){}<>]*)[\])}>]")
_WORD = re.compile(r"[^\W\d_]+")
_OPEN_BRACKET = re.compile(r"[\[(]\s*([^\[\]()]{1,12})$")
_GAP = re.compile(r"\s+in\s+|\s*[,;:/]\s*|[\s_]+")
MEASURES = {
    "current": "current", "voltage": "voltage", "power": "power", "temperature": "temperature",
    "rotation": "rotation", "erpm": "rotation", "speed": "speed", "throttle": "fraction",
    "duty": "fraction", "soc": "fraction", "soh": "fraction", "altitude": "length",
    "latitude": "angle", "longitude": "angle", "course": "angle",
    "acceleration": "acceleration", "torque": "torque", "distance": "length", "energy": "energy",
    "charge": "charge", "resistance": "resistance", "frequency": "frequency", "time": "time",
    "date": "time", "grade": "angle", "fault": "text", "status": "text",
}  # fmt: skip
"""Ideas that name a quantity -> its dimension."""
PARTS = frozenset({"battery", "input", "pack", "phase", "cell"})
"""Parts of which a header may say no more than the unit: `Battery [V]`, `cell 3 V`."""
_RAIL = re.compile(r"(?<![\d.,])(?:3[.,]3|3|5|12|24) ?V(?:DC)?(?![\w/])", re.IGNORECASE)
"""A low-voltage supply named by its voltage: lights, logic, not the pack."""


@dataclass(frozen=True, slots=True)
class HeaderWords:
    """A header's meaning as far as words tell."""

    header: str
    ideas: frozenset[str]
    """All ideas that some word stands for."""
    loose: frozenset[str]
    """Ideas that only an ambiguous word stands for."""
    side: str | None
    """`left right front rear`, in English, or a drive's own name of the setup."""
    side_sure: float
    number: int | None
    unit: Unit | None
    unit_text: str
    stated: bool
    """True where the unit stands in brackets, in a units row or as a clear suffix."""
    unknown: tuple[str, ...] = ()
    words: tuple[str, ...] = field(default=())


@lru_cache(maxsize=4096)
def read_header(header: str, units_cell: str = "", drives: tuple[str, ...] = ()) -> HeaderWords:
    """What the words of a header say; `drives` are the setup's names."""
    text, unit, unit_text, stated = _take_unit(header, units_cell)
    side, side_sure, text = _take_drive(text, drives)
    whole = _WORD.sub(lambda m: m[0].lower() if ideas_of(plain(m[0])) else m[0], text)
    tokens = [part for one in tokens_of(whole) for part in side_apart(one)]
    last = tokens[-1] if tokens and len(tokens) > 1 and units_of(tokens[-1]) else None
    tokens = [one for one in tokens if one not in FILLERS]
    if last in FILLERS and unit is None:
        tokens.append(str(last))  # `current_left_a`: here it is the ampere, no article
    told, rest = phrases_in(tokens)
    ideas, unknown, number = set(told), [], None
    if unit is not None and unit.dimension == "rotation" and "el" in tokens_of(whole):
        ideas.add("electrical")  # elsewhere the Spanish article
    loose: set[str] = set()
    for token in rest:
        if token.isdigit():
            number = int(token) if number is None and len(token) < 4 else number
            continue
        if side is None and (own := side_of(token)) is not None and _is_side(token, tokens):
            side, side_sure = own, 0.97 if len(token) > 1 else 0.9
            continue
        if (letter := _formula_letter(token, rest, unit)) is not None:
            ideas.add(letter)
            continue
        found = ideas_of(token)
        if not found:
            trimmed = _suffixed_number(token)
            unknown.append(token) if trimmed is None else None
            continue
        for part in found:
            if len(part) == 1:
                ideas |= part
            else:
                loose |= part
    if unit is None and not stated:
        unit, unit_text, tokens_left = _suffix_unit(rest, ideas)
        if unit is not None:
            unknown = [one for one in unknown if one in tokens_left]
    if unit is not None:  # Italian `tempo` in seconds is a time, German `Tempo` in km/h a speed
        ideas |= {one for one in loose if MEASURES.get(one) == unit.dimension}
    if _RAIL.search(text) and not ideas & {"battery", "pack"} and "cell" not in ideas:
        ideas.add("foreign")
    return HeaderWords(
        header, frozenset(ideas), frozenset(loose - ideas), side, side_sure, number, unit,
        unit_text, stated or unit is not None, tuple(unknown), tuple(rest),
    )  # fmt: skip


def _take_unit(header: str, units_cell: str) -> tuple[str, Unit | None, str, bool]:
    """The header without its unit, and the unit: from a units row, brackets, or its end."""
    ideas = _ideas_in(header)
    if units_cell.strip():
        wanted = _dimensions(ideas)
        text = _BRACKETS.sub(
            lambda m: " " if any(u.dimension in wanted for u in units_of(m[1])) else m[0], header
        )
        return text, _unit_for(units_cell, ideas), units_cell.strip(), True
    for match in reversed(list(_BRACKETS.finditer(header))):
        unit = _unit_for(match[1], ideas)
        if unit is not None:
            rest = header[: match.start()] + " " + header[match.end() :]
            return rest, unit, match[1].strip(), True
    found = _OPEN_BRACKET.search(header)
    if found and (unit := _unit_for(found[1], ideas)) is not None:
        return header[: found.start()], unit, found[1].strip(), True
    return _unit_at_end(header)


def _unit_for(word: str, ideas: set[str]) -> Unit | None:
    """The meaning of a unit word that goes with the ideas: `µs` of a throttle is a pulse."""
    units = units_of(word)
    wanted = _dimensions(ideas)
    fitting = next((one for one in units if one.dimension in wanted), None)
    if fitting is None and units and wanted and len(word.strip()) == 1 and side_of(plain(word)):
        return None  # `(G)` beside a current is the left side, not the unit g
    return fitting or (units[0] if units else None)


def _dimensions(ideas: set[str]) -> set[str]:
    """Dimensions that a unit may have beside these ideas."""
    out = {MEASURES[one] for one in ideas if one in MEASURES}
    if ideas & {"throttle", "brake"}:
        out |= {"fraction", "pulse"}
    if "speed" in ideas:
        out.add("rotation")
    if "charge" in ideas:  # `Charge %`
        out.add("fraction")
    if not out and ideas & PARTS:
        out |= {"voltage", "current", "temperature", "power"}
    return out


def _ideas_in(text: str) -> set[str]:
    tokens = [one for one in tokens_of(text) if one not in FILLERS]
    told, rest = phrases_in(tokens)
    return set(told) | {idea for one in rest for part in ideas_of(one) for idea in part}


def _unit_at_end(header: str) -> tuple[str, Unit | None, str, bool]:
    """`Speed, km/h`, `Batt current 0.1 A`, `temp_c`: the longest end that is a unit and fits."""
    text = header.strip()
    gaps = [found.span() for found in _GAP.finditer(text) if found.start() > 0]
    for end, at in gaps[-4:]:
        word, head = text[at:], text[:end].rstrip(" ,;:_/-")
        spelled = word if "_" not in word else word.replace("_", "/")
        units = units_of(word) or units_of(spelled)
        if not units or not head:
            continue
        ideas = _ideas_in(head)
        wanted = _dimensions(ideas)
        unit = next((one for one in units if one.dimension in wanted), None)
        marked = bool(re.search(r"[/%°]", word)) or text[:at].rstrip()[-1:] in ",;:"
        if unit is None and marked and not wanted:
            unit = units[0]
        if unit is not None and not (len(word) == 1 and word.lower() in "lrbd" and not marked):
            return head, unit, word.strip(), True
    return _unit_at_begin(text)


def _unit_at_begin(text: str) -> tuple[str, Unit | None, str, bool]:
    """`% throttle`, `km/h GPS`: a first word that can only be a unit."""
    word, _, rest = text.partition(" ")
    if not rest or not re.search(r"[/%°]", word):
        return text, None, "", False
    wanted = _dimensions(_ideas_in(rest))
    unit = next((one for one in units_of(word) if not wanted or one.dimension in wanted), None)
    return (text, None, "", False) if unit is None else (rest, unit, word, True)


_FORMULA = {
    "t": ("temperature", {"motor", "controller", "battery", "pack", "cell", "ambient"}),
    "v": ("voltage", {"battery", "input", "pack", "cell"}),
    "p": ("power", {"battery", "input", "pack", "electrical"}),
    "n": ("rotation", {"motor", "mechanical"}),
    "h": ("altitude", {"gps"}),
}
"""Formula letters and the parts beside which they are that quantity: `T motor`, `V batt`."""


def _formula_letter(token: str, tokens: list[str], unit: Unit | None) -> str | None:
    """The quantity a single letter stands for beside a part's name or its own unit."""
    if token == "v" and _parts(tokens) & {"wheel", "vehicle", "gps"}:
        return "speed"
    if token not in _FORMULA:
        return None
    quantity, beside = _FORMULA[token]
    if unit is not None and unit.dimension == MEASURES[quantity]:
        return quantity
    return quantity if _parts(tokens) & beside else None


def _parts(tokens: list[str]) -> set[str]:
    return {idea for one in tokens for part in ideas_of(one) for idea in part}


def _take_drive(text: str, drives: tuple[str, ...]) -> tuple[str | None, float, str]:
    """A drive's own name in the header, taken out of it."""
    low = plain(text)
    for name in sorted(drives, key=len, reverse=True):
        own = r"[\s_\-]+".join(re.escape(one) for one in re.split(r"[\s_\-]+", plain(name)))
        found = re.search(rf"(?<![a-z0-9]){own}(?![a-z0-9])", low)
        if found and len(low) == len(text) and low.strip() != plain(name):
            return name, 0.98, text[: found.start()] + " " + text[found.end() :]
    return None, 0.0, text


def _is_side(token: str, tokens: list[str]) -> bool:
    """Single letters count as sides only beside other words; some words have another meaning."""
    others = [one for one in tokens if one != token and not one.isdigit()]
    if len(token) == 1:
        return bool(others)
    if token in ("der", "del", "re", "li", "ant", "post", "av", "ar", "dir", "port", "back"):
        return bool(others) and not any(ideas_of(token))
    return True


def _suffixed_number(token: str) -> int | None:
    digits = re.search(r"\d+$", token)
    return int(digits[0]) if digits else None


def _suffix_unit(tokens: list[str], ideas: set[str]) -> tuple[Unit | None, str, list[str]]:
    """`motor_current_a`: a last word that is a unit of the dimension the other words speak of."""
    dimensions = {MEASURES[one] for one in ideas if one in MEASURES}
    for size in (2, 1):
        if len(tokens) <= size:
            continue
        word = ("/" if size == 2 else "").join(tokens[-size:])
        for unit in units_of(word) or units_of(" ".join(tokens[-size:])):
            pulse = unit.dimension == "pulse" and "fraction" in dimensions
            if unit.dimension in dimensions or pulse:
                return unit, word, tokens[:-size]
            if not dimensions and len(word) > 1 and unit.dimension not in ("other", "charge"):
                return unit, word, tokens[:-size]
    return None, "", tokens
