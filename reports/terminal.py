"""What the commands print: one screen, coloured on a terminal, plain when piped."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from analyzer.words import Severity
from reports.numbers import day, duration, estimate, quantity
from reports.sentences import PACK, SEVERITY, joined
from reports.sources_view import SourceView, source_views

if TYPE_CHECKING:
    from rich.console import Console

    from analyzer.ride_analysis import RideResult
    from importers.ride import Source
    from reports.findings_view import FindingView

STYLE = {Severity.ACT: "bold red", Severity.WATCH: "bold yellow", Severity.NOTE: "bold cyan"}
TABLE_COLUMNS = 100
"""A terminal narrower than this gets a list of columns: a table would break words. Our choice."""
STATE_STYLE = {"sure": "", "doubt": "yellow", "unread": "dim"}
MOST_DOUBTS = 6
"""So many columns in doubt are named. Our choice."""
MOST_NOT_CHECKED = 5
"""So many things not checked are named; the report has all. Our choice."""
SHOWN_PARTS = ("Numbers", "Do", "Cost", "Caution")
"""Paragraphs of a finding that the terminal shows; the report has all. Our choice."""


def print_ride(result: RideResult, console: Console) -> None:
    """A ride's findings in a few lines each, then the pack and what was not checked."""
    from rich.text import Text

    from reports.findings_view import findings_views, nothing_found

    console.print(Text(_ride_line(result), style="bold"))
    for doubt in result.ride.doubts:
        console.print(Text(f"In doubt: {doubt}", style="bold yellow"))
    for view in findings_views(result):
        _print_finding(view, console)
    if not result.findings:
        console.print(Text(nothing_found(result)))
    console.print()
    for name, label, suffix in PACK:
        one = getattr(result.pack, name)
        if one is not None:
            console.print(Text(f"{label}: {estimate(one, suffix)}"))
    if result.not_checked:
        what = [one.what for one in result.not_checked[:MOST_NOT_CHECKED]]
        more = len(result.not_checked) - len(what)
        if more:
            what.append(f"{more} more (in the report)")
        console.print(Text(f"Not checked: {joined(what)}.", style="dim"))


def _ride_line(result: RideResult) -> str:
    totals, ride = result.totals, result.ride
    parts = [day(ride.start), duration(totals.duration_s)]
    if totals.distance_m is not None:
        parts.append(quantity(totals.distance_m, "m"))
    if totals.energy_out_wh is not None:
        parts.append(f"{quantity(totals.energy_out_wh, 'wh')} out")
    if totals.energy_back_wh is not None:
        parts.append(f"{quantity(totals.energy_back_wh, 'wh')} back")
    return " · ".join(part for part in parts if part)


def _print_finding(view: FindingView, console: Console) -> None:
    from rich.padding import Padding
    from rich.text import Text

    console.print()
    head = Text(f"{SEVERITY[view.severity].upper():<6}", style=STYLE[view.severity])
    console.print(head + Text(view.headline, style="bold"))
    for part in view.parts:
        if part.label in SHOWN_PARTS:
            text = Text(f"{part.label}. ", style="italic") + Text(" ".join(part.texts))
            # Piped, a paragraph stays on one line of any length: padding would crop it.
            if console.soft_wrap:
                console.print(Text(" " * 6) + text)
            else:
                console.print(Padding(text, (0, 0, 0, 6)))


def print_look(sources: Iterable[Source], console: Console) -> None:
    """What is in the files: a table of columns for each, what was mended, what to type if a
    guess is wrong."""
    from rich.text import Text

    views = source_views(tuple(sources))
    for place, view in enumerate(views):
        if place:
            console.print()
        console.print(Text(view.title, style="bold"))
        console.print(Text(view.summary))
        _print_columns(view, console)
        for problem in view.problems:
            console.print(Text(f"! {problem}", style="yellow"))
    console.print()
    for line in _what_to_type(views):
        console.print(Text(line))


def _what_to_type(views: tuple[SourceView, ...]) -> list[str]:
    """What to type where a guess is in doubt or wrong."""
    lines = []
    open_files = [view.file for view in views if view.role_in_doubt and view.read]
    if open_files:
        lines.append(
            f"In doubt what {joined(open_files)} {'holds' if len(open_files) == 1 else 'hold'}: "
            f"type {' '.join(f'NAME={one}' for one in open_files)}, NAME being a drive "
            "of the setup, gps or bms."
        )
    doubts = {
        view.file: [one.header for one in view.channels if one.state == "doubt"] for view in views
    }
    for file, headers in doubts.items():
        where = f" in {file}" if len(views) > 1 else ""
        more = len(headers) - MOST_DOUBTS
        if headers:
            lines.append(
                f"In doubt{where}: {joined(headers[:MOST_DOUBTS])}"
                f"{f' and {more} more' if more > 0 else ''}."
            )
    lines.append("If a guess is wrong: --write-map FILE, edit it, and read with --map FILE.")
    return lines


def _print_columns(view: SourceView, console: Console) -> None:
    heads = ("column", "read as", "unit", "sign", "rate", "sure", "because")
    rows = [
        (one.state, (one.header, one.channel, one.unit, one.sign, one.rate, one.sure, one.why))
        for one in view.channels
    ]
    if not rows:
        return
    if console.is_terminal and console.width < TABLE_COLUMNS:
        _print_list(rows, console)
    elif console.is_terminal:
        _print_table(heads, rows, console)
    else:
        _print_plain(heads, [cells for _, cells in rows], console)


def _print_list(rows: Sequence[tuple[str, tuple[str, ...]]], console: Console) -> None:
    """On a narrow terminal: what a column is below its header, no word broken."""
    from rich.padding import Padding
    from rich.text import Text

    for state, (header, *cells) in rows:
        console.print(Text(header, style=STATE_STYLE[state]))
        console.print(Padding(Text(", ".join(filter(None, cells)), style="dim"), (0, 0, 0, 4)))


def _print_table(
    heads: tuple[str, ...], rows: Sequence[tuple[str, tuple[str, ...]]], console: Console
) -> None:
    from rich import box
    from rich.table import Table
    from rich.text import Text

    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    for name in heads:
        table.add_column(name, overflow="fold", justify="left")
    for state, cells in rows:
        table.add_row(*(Text(cell) for cell in cells), style=STATE_STYLE[state])
    console.print(table)


def _print_plain(heads: tuple[str, ...], rows: Sequence[tuple[str, ...]], console: Console) -> None:
    """Piped: one line a column of the file, whatever its length."""
    from rich.text import Text

    lines = [heads, *rows]
    widths = [max(len(line[place]) for line in lines) for place in range(len(heads))]
    for line in lines:
        padded = "  ".join(cell.ljust(width) for cell, width in zip(line, widths, strict=True))
        console.print(Text(padded.rstrip()), soft_wrap=True)
