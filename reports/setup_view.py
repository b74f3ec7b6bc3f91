"""What `setup check` shows, on the terminal and on a page: every finding as what, why, what value
would do, what that costs, the caution; then what holds, and what could not be judged."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import PurePath, PureWindowsPath
from typing import TYPE_CHECKING

from analyzer.setup_finding import SetupCheck, SetupFinding, Suggestion, num
from analyzer.words import Severity
from importers.setup_keys import TABLES
from importers.setup_types import Chemistry, Setup
from reports.sentences import joined

if TYPE_CHECKING:
    from rich.console import Console
    from rich.text import Text

STYLE = {Severity.ACT: "bold red", Severity.WATCH: "bold yellow", Severity.NOTE: "bold cyan"}
CAUTIONS = (
    "A check on paper proves nothing: try new limits on the flat first, then on your easiest hill.",
    "Limits set on controllers are no protection: the fuse and the BMS are. Neither is bridged, "
    "and no trip, delay or stop is moved to get further.",
    "Datasheets and local rules go before anything said here; ask someone qualified where a pack "
    "is opened.",
)


@dataclass(frozen=True, slots=True)
class SetupPart:
    """One labelled paragraph of a finding."""

    label: str
    texts: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SetupRow:
    """One finding, all text final."""

    severity: Severity
    headline: str
    parts: tuple[SetupPart, ...]
    keys: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SetupView:
    """A setup's check as texts."""

    title: str
    file: str
    """Its name without the way to it: reports are shared."""
    build: tuple[tuple[str, str], ...]
    """(what, value) pairs that say which build this is."""
    summary: str
    rows: tuple[SetupRow, ...]
    held: tuple[str, ...]
    not_checked: tuple[tuple[str, str], ...]
    """(what, the keys it needs) pairs."""
    notes: tuple[tuple[str, str], ...]
    """(key, what is used instead of it) pairs."""
    cautions: tuple[str, ...]


def setup_view(check: SetupCheck, setup: Setup) -> SetupView:
    """Everything a page or a terminal says of a setup's check."""
    return SetupView(
        title=setup.vehicle.name or setup.pack.name or "This build",
        file=PureWindowsPath(PurePath(setup.file).name).name,
        build=_build(setup),
        summary=_summary(check),
        rows=_rows(check.findings),
        held=check.held,
        not_checked=tuple((one.what, ", ".join(one.missing)) for one in check.not_checked),
        notes=setup.notes,
        cautions=CAUTIONS,
    )


def print_setup_check(check: SetupCheck, setup: Setup, console: Console) -> None:
    """A setup's check in a few lines per finding, the gravest first."""
    from rich.text import Text

    view = setup_view(check, setup)
    console.print(Text(f"{view.title} ({view.file})", style="bold"))
    console.print(Text(view.summary))
    for row in view.rows:
        console.print()
        head = Text(f"{row.severity.value.upper():<6}", style=STYLE[row.severity])
        console.print(head + Text(row.headline, style="bold"))
        for part in row.parts:
            text = Text(f"{part.label}. ", style="italic") + Text(" ".join(part.texts))
            _print_indented(text, 6, console)
    for title, lines in (
        ("In order on paper", view.held),
        (
            "Not checked",
            [f"{what}: add {keys}" if keys else what for what, keys in view.not_checked],
        ),
        ("Used instead of what is not given", [f"{key} {text}" for key, text in view.notes]),
    ):
        if lines:
            console.print()
            console.print(Text(f"{title}:", style="bold"))
            for line in lines:
                _print_indented(Text(line), 2, console)
    console.print()
    console.print(Text(view.cautions[0], style="dim"))


def _print_indented(text: Text, columns: int, console: Console) -> None:
    """A paragraph set in from the left; piped, each stays on one line of any length."""
    from rich.padding import Padding
    from rich.text import Text

    if console.soft_wrap:
        console.print(Text(" " * columns) + text)
    else:
        console.print(Padding(text, (0, 0, 0, columns)))


def _build(setup: Setup) -> tuple[tuple[str, str], ...]:
    pack = setup.pack
    parallel = f"{pack.parallel}p" if pack.parallel else ""
    word = pack.chemistry.value
    kind = "cells of another kind" if pack.chemistry is Chemistry.OTHER else word.upper()
    cells = f"{pack.series}s{parallel} {kind}, {num(pack.capacity_ah, 'Ah')}"
    volts = f"{num(setup.empty_v, 'V')} empty, {num(setup.full_v, 'V')} full"
    rows = [("Pack", f"{cells}, {volts}"), ("Drives", ", ".join(setup.drive_names))]
    if setup.vehicle.mass_kg is not None:
        rows.append(("Mass", num(setup.vehicle.mass_kg, "kg")))
    return tuple(rows)


def _summary(check: SetupCheck) -> str:
    counts = Counter(one.severity for one in check.findings)
    held, missed = len(check.held), len(check.not_checked)
    tail = f"{held} checks in order, {missed} not made for want of a key."
    if not counts:
        return f"Nothing to change on paper: {tail}"
    words = (
        (Severity.ACT, "to act on"),
        (Severity.WATCH, "to watch"),
        (Severity.NOTE, "worth knowing"),
    )
    said = ", ".join(f"{counts[one]} {word}" for one, word in words if counts[one])
    return f"{said}; {tail}"


def _rows(findings: Iterable[SetupFinding]) -> tuple[SetupRow, ...]:
    """One row a finding; what to do, its cost and its caution are told once where several share
    them."""
    rows: list[SetupRow] = []
    for row in map(_row, findings):
        told = _what_to_do(row)
        before = [other for other in rows if _what_to_do(other) == told]
        if before and any(part.label == "Do" for part in told):
            kept = tuple(part for part in row.parts if part not in told)
            same = SetupPart("Do", ("The change told above settles this, too.",))
            row = replace(row, parts=(*kept, same))
        rows.append(row)
    return tuple(rows)


def _what_to_do(row: SetupRow) -> tuple[SetupPart, ...]:
    return tuple(part for part in row.parts if part.label in ("Do", "Cost", "Caution"))


def _row(one: SetupFinding) -> SetupRow:
    parts = [SetupPart("Why", (one.why,))] if one.why else []
    if one.suggest:
        parts.append(SetupPart("Do", _advices(one.suggest)))
    if one.cost:
        parts.append(SetupPart("Cost", (one.cost,)))
    if one.caution:
        parts.append(SetupPart("Caution", (one.caution,)))
    return SetupRow(one.severity, one.message, tuple(parts), one.keys)


def _advices(suggest: Iterable[Suggestion]) -> tuple[str, ...]:
    """What to set, keys that get the same value for the same reason in one sentence."""
    groups: dict[tuple[str, str], list[str]] = {}
    for one in suggest:
        value = num(one.value, unit_of(one.key))
        groups.setdefault((value, one.why.rstrip(".")), []).append(one.key)
    return tuple(f"Set {joined(keys)} to {value}: {why}." for (value, why), keys in groups.items())


def unit_of(key: str) -> str:
    """The unit of a setup key's value, as text; empty where it has none."""
    parts = key.split(".")
    found = (one for one in TABLES.get(parts[0], ()) if one.name == parts[-1])
    return next((one.unit for one in found), "")
