"""The setup file: TOML in, a checked `Setup` out, or every fault of it at once."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

from importers.curve_file import built_in_family, read_curve
from importers.errors import SetupError, UserError
from importers.setup_drives import read_drives
from importers.setup_faults import Faults, nearest
from importers.setup_keys import CAUSE_WORDS, HILLS, TABLES, TOP, Key
from importers.setup_types import (
    Bms,
    Chemistry,
    Hill,
    Pack,
    Ports,
    RestVoltageCurve,
    Setup,
    Vehicle,
    Wiring,
)
from importers.setup_values import Value, read_value
from importers.toml_lines import KeyPath, key_lines
from importers.toml_syntax import load_leniently

MOST_BYTES = 1_000_000
"""A setup is a page or two; anything larger is another kind of file [bytes]. Our choice."""
TEETH_TOLERANCE = 0.01
"""How far `gear_ratio` may lie from the teeth's ratio before one of them is a typo (1 %: people
round to three digits). Our choice."""
TWO_PACKS = (
    "is more than one pack; one is expected",
    "Two packs in parallel share the current as their resistances and charges happen to stand, "
    "which no controller logs: nothing said of the sum would be true of either. "
    "Describe a fixed parallel pair behind one BMS as one pack with twice the `parallel`.",
)
STARTER = "`hillproof setup new FILE` writes a file with every key and its meaning."

Tables = dict[str, Any]


def read_setup(path: str) -> Setup:
    """The build described by a setup file on disk.

    A curve it names is looked for beside it.

    Raises
    ------
    SetupError : the file cannot be read, or anything in it cannot be used; all faults at once
    """
    return parse_setup(_read_text(path), path)


def parse_setup(
    text: str, file: str, *, read_curve: Callable[[str], RestVoltageCurve] | None = None
) -> Setup:
    """The build described by a setup's text.

    Parameters
    ----------
    text : TOML, contract section 1
    file : the file as it was typed, for messages; its folder is where a curve is looked for
    read_curve : gives the curve of the name in `pack.rest_voltage_curve`; a ride that carries its
        own curve passes that here

    Raises
    ------
    SetupError : with every fault, each with line, key, what was expected and a remedy
    """
    values, kept_text, broken = load_leniently(text.removeprefix("\ufeff"))
    faults = Faults(file, key_lines(kept_text) if values is not None else {})
    for one in broken:
        faults.add_line(one.line, f"{one.key} {one.what}".strip(), one.remedy)
    if values is None:
        faults.raise_if_any()
        values = {}
    skipped = {one.key.split(".")[-1] for one in broken}
    setup = _build(values, text, file, faults, skipped, read_curve or _beside(file))
    faults.raise_if_any()
    return setup


def _build(
    values: Tables,
    text: str,
    file: str,
    faults: Faults,
    skipped: set[str],
    curve_of: Callable[[str], RestVoltageCurve],
) -> Setup:
    """The setup, worked through to the end whatever is wrong: stand-ins take the place of values
    with faults, and the caller raises when there was one."""
    _refuse_unknown_tables(values, faults)
    read = {name: _table(name, values, faults, skipped) for name in TABLES if name != "drives"}
    pack = _pack(read["pack"], faults)
    drives, homes = read_drives(values.get("drives"), faults, skipped)
    bms = read["bms"]
    _in_order(bms, ("bms", "cell_low_v"), ("bms", "cell_high_v"), faults)
    family = _curves(pack, faults, curve_of)
    setup = Setup(
        pack=pack,
        drives=drives,
        curve=family[0],
        curve_family=family,
        vehicle=_vehicle(read["vehicle"], faults),
        bms=Bms(**(bms | ({"ports": Ports(bms["ports"])} if "ports" in bms else {}))),
        wiring=Wiring(**read["wiring"]),
        hills=_hills(values.get("hills"), faults),
        logger_powered_by=read["logger"].get("powered_by"),
        fault_words=_fault_words(values.get("fault_words"), faults),
        file=file,
        text=text,
        key_homes=homes,
    )
    _within_curve(setup, faults)
    return _with_notes(setup)


def _read_text(path: str) -> str:
    where = Path(path)
    try:
        if where.is_dir():
            raise SetupError(where=path, what="is a folder", remedy="Give the setup file in it.")
        with where.open("rb") as file:
            raw = file.read(MOST_BYTES + 1)
    except FileNotFoundError as error:
        raise SetupError(
            where=path, what="there is no such file", remedy=f"Check the path. {STARTER}"
        ) from error
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise SetupError(
            where=path, what=f"cannot be read ({reason})", remedy="Check the path and its rights."
        ) from error
    return _decoded(raw, path)


def _decoded(raw: bytes, path: str) -> str:
    if raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        text = raw.decode("utf-16", errors="replace")
    else:
        try:
            text = raw.decode("utf-8-sig")
        except UnicodeDecodeError as error:
            if b"\0" not in raw and len(raw) <= MOST_BYTES:
                line = raw[: error.start].count(b"\n") + 1
                raise SetupError(
                    where=f"{path}, line {line}",
                    what="a letter here is not UTF-8",
                    remedy="Save the file as UTF-8 (in the editor's save dialogue: encoding).",
                ) from error
            text = "\0"
    if "\0" in text or len(raw) > MOST_BYTES:
        raise SetupError(where=path, what="is not a setup file: it holds no text", remedy=STARTER)
    return text


def _beside(file: str) -> Callable[[str], RestVoltageCurve]:
    return lambda name: read_curve(str(Path(file).parent / name))


def _refuse_unknown_tables(values: Tables, faults: Faults) -> None:
    for name, value in values.items():
        if name in TOP:
            if name not in ("drives", "hills", "pack") and not isinstance(value, dict):
                faults.add((name,), "is not a table", f"Write [{name}] on a line of its own.")
        elif name.lower() in ("packs", "battery", "batteries", "pack1", "pack2", "pack_2"):
            faults.add((name,), "is not a table of a setup", "There is one [pack].")
        elif home := _home_of(name):
            faults.add((name,), "stands outside its table", f"It belongs under [{home}].")
        else:
            faults.add((name,), "is not known here", _suggest(name, TOP, "Known tables"))


def _home_of(name: str) -> str | None:
    for table, keys in TABLES.items():
        if any(key.name == name for key in keys):
            return "drives.NAME" if table == "drives" else table
    return None


def _suggest(name: str, known: tuple[str, ...], what: str) -> str:
    close = nearest(name, known)
    if close is not None:
        return f"Did you mean {close}? {STARTER}"
    home = _home_of(name)
    if home is not None:
        return f"It belongs under [{home}]."
    return f"{what}: {', '.join(known)}."


def _table(name: str, values: Tables, faults: Faults, skipped: set[str]) -> dict[str, Any]:
    """The checked values of one table; required keys that are missing are faults."""
    raw = values.get(name, {})
    if name == "hills":
        return {}
    if name == "pack" and (isinstance(raw, list) or (isinstance(raw, dict) and _holds_tables(raw))):
        faults.add((name,), *TWO_PACKS)
        return {}
    if not isinstance(raw, dict):
        if name == "pack":
            faults.add((name,), "is not a table", "Write [pack] on a line of its own.")
        return {}
    return _read_keys(TABLES[name], raw, (name,), faults, skipped)


def _holds_tables(raw: Tables) -> bool:
    """Whether every entry is a table of its own, as in [pack.left] and [pack.right]."""
    return bool(raw) and all(isinstance(one, dict) for one in raw.values())


def _read_keys(
    keys: tuple[Key, ...], raw: Tables, path: KeyPath, faults: Faults, skipped: set[str]
) -> dict[str, Any]:
    """The checked values of one table whose keys are known."""
    known = {key.name: key for key in keys}
    found: dict[str, Value] = {}
    for name, value in raw.items():
        if name not in known:
            remedy = _suggest(name, tuple(known), f"Keys of [{path[0]}]")
            faults.add((*path, name), "is not a known key", remedy)
            continue
        checked = read_value(known[name], value, (*path, name), faults)
        if checked is not None:
            found[name] = checked
    for key in keys:
        if key.required and key.name not in raw and key.name not in skipped:
            faults.add(
                (*path, key.name),
                f"is missing, expected {key.expected}",
                f"{key.meaning} Example: {key.name} = {key.example}",
            )
    return found


def _pack(read: dict[str, Any], faults: Faults) -> Pack:
    _in_order(read, ("pack", "cell_empty_v"), ("pack", "cell_full_v"), faults)
    stand_ins: dict[str, Any] = {"chemistry": "nmc", "series": 1, "capacity_ah": 1.0}
    filled = stand_ins | read
    return Pack(**(filled | {"chemistry": Chemistry(filled["chemistry"])}))


def _in_order(read: dict[str, Any], low: KeyPath, high: KeyPath, faults: Faults) -> None:
    """The first key's value has to lie below the second's."""
    below, above = read.get(str(low[-1])), read.get(str(high[-1]))
    if below is not None and above is not None and below >= above:
        faults.add(
            low,
            f"is {below:g}, expected less than {high[-1]} ({above:g})",
            "Are the two swapped?",
        )


def _vehicle(read: dict[str, Any], faults: Faults) -> Vehicle:
    """The vehicle, with the gear ratio worked out from teeth where those are given."""
    driving, driven = read.get("driving_teeth"), read.get("driven_teeth")
    if (driving is None) != (driven is None):
        given = "driving_teeth" if driven is None else "driven_teeth"
        other = "driven_teeth" if driven is None else "driving_teeth"
        faults.add(
            ("vehicle", given), f"is given without {other}", f"Add {other}, or give gear_ratio."
        )
    if driving is not None and driven is not None:
        ratio = driven / driving
        stated = read.get("gear_ratio")
        if stated is None:
            read = read | {"gear_ratio": ratio}
        elif abs(stated / ratio - 1) > TEETH_TOLERANCE:
            faults.add(
                ("vehicle", "gear_ratio"),
                f"is {stated:g}, but {driven} / {driving} teeth make {ratio:.4g}",
                "Keep one of them: take gear_ratio or both teeth out.",
            )
    return Vehicle(**read)


def _hills(raw: object, faults: Faults) -> tuple[Hill, ...]:
    if raw is None:
        return ()
    if not isinstance(raw, list) or not all(isinstance(one, dict) for one in raw):
        faults.add(("hills",), "is not a list of tables", "Write [[hills]] before each hill.")
        return ()
    hills = []
    for number, one in enumerate(raw):
        read = _read_keys(HILLS, one, ("hills", number), faults, set())
        if len(read) == len(HILLS):
            hills.append(Hill(**read))
    return tuple(hills)


def _fault_words(raw: object, faults: Faults) -> tuple[tuple[str, str], ...]:
    if not isinstance(raw, dict):
        return ()
    words = []
    for code, word in raw.items():
        if isinstance(word, str) and word in CAUSE_WORDS:
            words.append((code, word))
            continue
        close = nearest(word, CAUSE_WORDS) if isinstance(word, str) else None
        faults.add(
            ("fault_words", code),
            f"is {word!r}, expected a cause word in quotes",
            f'Did you mean "{close}"?' if close else f"Causes: {', '.join(CAUSE_WORDS)}.",
        )
    return tuple(words)


def _curves(
    pack: Pack, faults: Faults, curve_of: Callable[[str], RestVoltageCurve]
) -> tuple[RestVoltageCurve, ...]:
    """The pack's own curve alone, else its chemistry's published ones, the default first."""
    path = ("pack", "rest_voltage_curve")
    stand_in = built_in_family(Chemistry.NMC)
    if pack.rest_voltage_curve is not None:
        try:
            return (curve_of(pack.rest_voltage_curve),)
        except UserError as error:
            faults.add(path, f"cannot be used: {error.where}: {error.what}", error.remedy)
            return stand_in
    if pack.chemistry is Chemistry.OTHER:
        faults.add(
            ("pack", "chemistry"),
            'is "other", which has no built-in curve; expected rest_voltage_curve as well',
            'Add rest_voltage_curve = "FILE.csv" with state_of_charge and volts_per_cell.',
        )
        return stand_in
    return built_in_family(pack.chemistry)


def _within_curve(setup: Setup, faults: Faults) -> None:
    """With one end given and the other from the curve, empty still has to lie below full."""
    if setup.cell_empty_v < setup.cell_full_v or None not in (
        setup.pack.cell_empty_v,
        setup.pack.cell_full_v,
    ):
        return
    given = "cell_empty_v" if setup.pack.cell_full_v is None else "cell_full_v"
    faults.add(
        ("pack", given),
        f"leaves nothing between empty ({setup.cell_empty_v:g} V) and full "
        f"({setup.cell_full_v:g} V, where not given that of {setup.pack.chemistry.value} cells)",
        "Check it against the chemistry, and give both ends.",
    )


def _with_notes(setup: Setup) -> Setup:
    """The setup with a line for every value it does not give and for which another stands."""
    notes = []
    source = setup.curve.source
    for name, value, end in (
        ("cell_full_v", setup.cell_full_v, "100 %"),
        ("cell_empty_v", setup.cell_empty_v, "0 %"),
    ):
        if getattr(setup.pack, name) is None:
            text = f"not given: {value:.2f} V per cell counts as {end}, an end of the curve of "
            notes.append((f"pack.{name}", f"{text}{source}"))
    if setup.pack.rest_voltage_curve is None:
        text = f"not given: rest voltage against charge is taken from {source}; cells of one name "
        notes.append(("pack.rest_voltage_curve", f"{text}differ, intervals allow for it"))
    if setup.pack.aux_a is None:
        text = "not given: nothing is added for lights and converters"
        notes.append(("pack.aux_a", text))
    return replace(setup, notes=tuple(notes))
