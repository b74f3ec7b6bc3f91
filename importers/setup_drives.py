"""The drives of a setup: names, limits, `same_as` and `follows` resolved and checked."""

from __future__ import annotations

from typing import Any

from importers.setup_faults import Faults, nearest
from importers.setup_keys import DRIVES, LIMIT_KEYS
from importers.setup_types import Drive
from importers.setup_values import read_value

TAKEN = ("gps", "bms", "all")
"""Names a log argument uses for something else than a drive."""
BAD_LETTERS = ".=+"
"""A dot parts drive and channel, `=` name and log, `+` the drives of an event."""
_ORDER = (("stop_at_v", "derate_from_v"),)
"""Pairs whose first may not lie above the second on one controller."""

Tables = dict[str, Any]
Homes = tuple[tuple[str, str], ...]


def read_drives(raw: object, faults: Faults, skipped: set[str]) -> tuple[tuple[Drive, ...], Homes]:
    """All drives in the file's order, each limit where it stands or where `same_as` points, and
    for every copied limit the key at which its value really stands."""
    tables = _tables(raw, faults)
    own = {name: _own_keys(name, table, faults) for name, table in tables.items()}
    for link in ("same_as", "follows"):
        _check_links(link, own, faults)
    drives, homes = [], []
    for name in own:
        limits: dict[str, Any] = {}
        for holder in _chain(name, own):
            for key in LIMIT_KEYS:
                if key in own[holder] and key not in limits:
                    limits[key] = own[holder][key]
                    if holder != name:
                        homes.append((f"drives.{name}.{key}", f"drives.{holder}.{key}"))
        _check_order(name, limits, dict(homes), faults)
        links = {k: own[name].get(k) for k in ("same_as", "follows")}
        drives.append(Drive(name=name, **limits, **links))
    return tuple(drives), tuple(homes)


def _tables(raw: object, faults: Faults) -> dict[str, Tables]:
    """The drives' tables by name, those with unusable names left out after adding the fault."""
    missing = "Give each motor controller a table: [drives.left], it may be empty."
    if raw is None or raw == {}:
        faults.add(("drives",), "is missing, expected at least one drive", missing)
        return {}
    if not isinstance(raw, dict):
        faults.add(("drives",), "is no table of drives", missing)
        return {}
    tables: dict[str, Tables] = {}
    for name, value in raw.items():
        if not isinstance(value, dict):
            known = tuple(key.name for key in DRIVES)
            hint = " Its keys belong under such a header." if name in known else ""
            faults.add(("drives", name), "is no table of a drive", missing + hint)
        elif (trouble := _name_trouble(name, tables)) is not None:
            faults.add(("drives", name), f"cannot be a drive's name: {trouble}", "Rename it.")
        else:
            tables[name] = value
    return tables


def _name_trouble(name: str, others: dict[str, Tables]) -> str | None:
    if not name.strip() or name != name.strip() or not name.isprintable():
        return "it is empty, or has spaces at its ends or hidden characters"
    if name.lower() in TAKEN:
        return f"{', '.join(TAKEN)} say what else a log holds"
    for letter in BAD_LETTERS:
        if letter in name:
            return f"{letter!r} has a meaning of its own in channel names and arguments"
    if any(name.lower() == other.lower() for other in others):
        return "another drive differs from it by capitals only"
    return None


def _own_keys(name: str, table: Tables, faults: Faults) -> dict[str, Any]:
    """The checked values that stand in this drive's own table."""
    known = {key.name: key for key in DRIVES}
    found: dict[str, Any] = {}
    for key, value in table.items():
        path = ("drives", name, key)
        if key not in known:
            close = nearest(key, known)
            remedy = f"Did you mean {close}?" if close else f"Known keys: {', '.join(known)}."
            faults.add(path, "is not a known key", remedy)
        elif (checked := read_value(known[key], value, path, faults)) is not None:
            found[key] = checked
    return found


def _check_links(link: str, own: dict[str, dict[str, Any]], faults: Faults) -> None:
    """Links have to name another drive of the file and may not run in a circle."""
    for name, values in own.items():
        path = ("drives", name, link)
        target = values.get(link)
        if target is None:
            continue
        if target == name:
            faults.add(path, "names the drive itself", "Name another drive, or take it out.")
        elif target not in own:
            close = nearest(target, own)
            remedy = f'Did you mean "{close}"?' if close else f"Drives: {', '.join(own)}."
            faults.add(path, f'names "{target}", and there is no such drive', remedy)
        elif _in_circle(name, link, own):
            faults.add(path, "runs in a circle", "One of the drives has to stand on its own.")
            continue
        else:
            continue
        del values[link]
    for name in [n for n in own if _in_circle(n, link, own)]:
        own[name].pop(link, None)


def _in_circle(name: str, link: str, own: dict[str, dict[str, Any]]) -> bool:
    seen, at = set(), own[name].get(link)
    while at in own and at not in seen:
        if at == name:
            return True
        seen.add(at)
        at = own[at].get(link)
    return False


def _chain(name: str, own: dict[str, dict[str, Any]]) -> list[str]:
    """The drive and those its limits are taken from, nearest first."""
    chain = [name]
    while (target := own[chain[-1]].get("same_as")) is not None and target not in chain:
        chain.append(target)
    return chain


def _check_order(name: str, limits: Tables, homes: dict[str, str], faults: Faults) -> None:
    """The first of each pair may not lie above the second; said once, where one of them stands."""
    for low, high in _ORDER:
        below, above = limits.get(low), limits.get(high)
        if below is None or above is None or below <= above:
            continue
        own = [key for key in (low, high) if f"drives.{name}.{key}" not in homes]
        if own:
            faults.add(
                ("drives", name, own[0]),
                f"is {limits[own[0]]:g}: power would be gone ({low} {below:g}) before it is "
                f"reduced ({high} {above:g}); expected {low} no higher than {high}",
                "Are the two swapped?",
            )
