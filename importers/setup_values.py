"""Is this value possible for this key? If not, what was expected, and what was probably meant."""

from __future__ import annotations

import math
from datetime import date, datetime

from importers.setup_faults import Faults, nearest
from importers.setup_keys import Key, Kind
from importers.toml_lines import KeyPath

Value = str | float | int | date
_TOO_LONG = 200
"""Texts longer than this are no names [characters]. Our choice."""
_CHEMISTRY_NAMES = {
    "lifepo4": "lfp",
    "life": "lfp",
    "lifepo": "lfp",
    "ncm": "nmc",
    "licoo2": "lco",
    "linicoalo2": "nca",
    "linimncoo2": "nmc",
}
"""What people also call the chemistries, to the contract's words."""
_OTHER_CHEMISTRIES = ("lto", "lmo", "lmfp", "lnmo", "naion", "sodium", "liion", "lipo")
"""Cells without a curve here, and names that leave the chemistry open: no slips of the pen."""


def read_value(key: Key, raw: object, path: KeyPath, faults: Faults) -> Value | None:
    """The value as its key wants it, or None after adding the fault. Nothing is converted but
    whole numbers to floats: a number in quotes is a text, `true` is no number."""
    if key.kind in (Kind.TEXT, Kind.WORD):
        return _text(key, raw, path, faults)
    if key.kind is Kind.DATE:
        if isinstance(raw, datetime):
            return raw.date()
        if isinstance(raw, date):
            return raw
        quoted = isinstance(raw, str)
        faults.add(
            path,
            f"is {_shown(raw)}, expected {key.expected}",
            "Take the quotes off." if quoted else "Write year, month, day.",
        )
        return None
    return _number(key, raw, path, faults)


def _text(key: Key, raw: object, path: KeyPath, faults: Faults) -> str | None:
    if not isinstance(raw, str):
        faults.add(path, f"is {_shown(raw)}, expected {key.expected}", "Put it in quotes.")
        return None
    if key.kind is Kind.WORD:
        word = raw.strip().lower()
        if word in key.words:
            return word
        plain = word.replace("-", "")
        meant = _CHEMISTRY_NAMES.get(plain) or nearest(word, key.words)
        if plain in _OTHER_CHEMISTRIES:
            meant = None
        faults.add(path, f"is {_shown(raw)}, expected {key.expected}", _did_you_mean(key, meant))
        return None
    if not raw.strip() or len(raw) > _TOO_LONG or not raw.isprintable():
        faults.add(
            path,
            "is empty" if not raw.strip() else "is no single short line of text",
            "Give it a name, or take the line out.",
        )
        return None
    return raw.strip()


def _did_you_mean(key: Key, meant: str | None) -> str:
    if meant is not None:
        return f'Did you mean "{meant}"?'
    if key.name == "chemistry":
        return 'For any other cell write "other" and give its rest_voltage_curve.'
    return "Use one of these words, in quotes."


def _number(key: Key, raw: object, path: KeyPath, faults: Faults) -> float | int | None:
    if isinstance(raw, bool) or not isinstance(raw, int | float):
        faults.add(path, f"is {_shown(raw)}, expected {key.expected}", _number_remedy(raw))
        return None
    if isinstance(raw, float) and not math.isfinite(raw):
        faults.add(path, f"is {raw}, expected {key.expected}", "Leave the key out if unknown.")
        return None
    if raw > key.high or raw < key.low or (raw == key.low and not key.zero):
        faults.add(path, f"is {_shown(raw)}, expected {key.expected}", _range_remedy(key, raw))
        return None
    if key.kind is Kind.WHOLE:
        if isinstance(raw, float) and not raw.is_integer():
            faults.add(path, f"is {raw:g}, expected {key.expected}", "Cells and teeth are whole.")
            return None
        return int(raw)
    return float(raw)


def _number_remedy(raw: object) -> str:
    if isinstance(raw, str):
        try:
            float(raw.strip().replace(",", "."))
        except ValueError:
            return "Write the number alone; the key's name ends with its unit."
        return f"Take the quotes off: {raw.strip().replace(',', '.')}."
    if isinstance(raw, list) and len(raw) == 2 and all(isinstance(one, int) for one in raw):
        return "Write a point, not a comma, in a number."
    if isinstance(raw, bool):
        return "Give the number, or leave the key out: a limit that is not given is not checked."
    return "Give one number."


def _range_remedy(key: Key, raw: float | int) -> str:
    if raw == 0 and key.name.endswith("_brake_a"):
        return "A controller that does not brake has no such limit: leave the key out."
    if raw <= 0 and key.low >= 0:
        return (
            "Limits are positive here; the direction is in the key's name. Unknown: leave it out."
        )
    for factor, unit in _scales(key):
        meant = raw * factor
        if key.low < meant <= key.high:
            return f"Was {unit} meant? Then write {meant:g}."
    return "Check the unit at the end of the key's name and the decimal point."


def _scales(key: Key) -> tuple[tuple[float, str], ...]:
    """Factors of the commonest slips of unit for this key, the likelier first."""
    if key.name in ("cell_full_v", "cell_empty_v", "cell_low_v", "cell_high_v"):
        return ((0.1, "one cell with the point one place on"), (0.001, "millivolts"))
    if key.name == "wheel_diameter_m":
        return ((0.0254, "inches"), (0.001, "millimetres"), (0.01, "centimetres"))
    if key.name.endswith(("_a", "_ah", "_v", "_s")):
        return ((0.001, "a thousandth (mA, mAh, mV, ms)"),)
    return ()


def _shown(raw: object) -> str:
    """A value as the file has it, short."""
    if isinstance(raw, bool):
        return "true" if raw else "false"
    if isinstance(raw, dict):
        return "a table"
    if isinstance(raw, list):
        return "a list"
    if isinstance(raw, int) and abs(raw) > 10**12:
        return "a number of absurd size"
    if isinstance(raw, str):
        flat = " ".join(raw.split())
        return f'"{flat if len(flat) <= 40 else flat[:37] + "..."}"'
    return str(raw)
