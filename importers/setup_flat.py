"""A setup as a flat table of dotted keys, so that two setups can be told apart key by key."""

from __future__ import annotations

from dataclasses import fields
from enum import Enum

from importers.setup_types import Drive, Setup

Value = float | int | str | bool | None
NOT_SETTINGS = {"name", "same_as"}
"""Words that say who or how, not what is set."""


def flat_settings(setup: Setup) -> dict[str, Value]:
    """Every value given, by its key as in the file (`drives.left.battery_drive_a`); `same_as` is
    worked out, so that a drive has its values under its own name."""
    flat: dict[str, Value] = {}
    for table in ("vehicle", "pack", "bms", "wiring"):
        flat |= _of(table, getattr(setup, table))
    for drive in setup.drives:
        flat |= _of(f"drives.{drive.name}", drive)
    return flat


def _of(table: str, part: object) -> dict[str, Value]:
    flat: dict[str, Value] = {}
    for one in fields(part):  # type: ignore[arg-type]
        if isinstance(part, Drive) and one.name in NOT_SETTINGS:
            continue
        value = getattr(part, one.name)
        if value is None:
            continue
        if isinstance(value, Enum):
            value = value.value
        plain = isinstance(value, (int, float, str))
        flat[f"{table}.{one.name}"] = value if plain else str(value)
    return flat
